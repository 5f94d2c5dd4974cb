package link

import "fmt"

// unpanicked turns a panic of the serial library into an error. The library waits with
// select(2), whose sets end at descriptor 1023, and panics beyond that. A service that has very
// many open files and connections must not end because somebody plugs in a scale.
func unpanicked(read func([]byte) (int, error)) func([]byte) (int, error) {
	return func(p []byte) (n int, err error) {
		defer func() {
			if wrong := recover(); wrong != nil {
				n, err = 0, fmt.Errorf("too many files are open to wait for this port: %v", wrong)
			}
		}()
		return read(p)
	}
}
