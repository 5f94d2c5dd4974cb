package climate

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"potlifed/model/air"
)

const (
	// maxFileBytes limits what is read of a file. A number is shorter.
	maxFileBytes = 64
	// defaultTries is how often a reading is tried. One-wire sensors fail now and then and need
	// two seconds to recover; a fault that occurs three times is permanent.
	defaultTries = 3
	defaultPause = 2 * time.Second
	// leaveAfter is how long after the beginning of a read that hangs in the kernel another one may
	// begin beside it, such as for a device that was plugged in again while a driver hangs on the old one.
	// It doubles with each read that hangs, and mostHanging is how many there may be: each keeps a thread.
	leaveAfter  = time.Minute
	mostHanging = 3
)

// layout is how the kernel shows a sensor in a folder.
type layout struct {
	// find returns nil if the folder is one of this layout with both quantities.
	find func(dir string) error
	// read returns both values in thousandths of a degree Celsius and of a per cent. value
	// returns the content of a file.
	read func(value func(name string) ([]byte, error)) (temperature, humidity float64, err error)
}

// folder is a sensor that the kernel shows as files in a folder. It is not read twice at once, unless a
// read hangs: a Read during another Read returns ErrBlocked.
type folder struct {
	layout  layout
	pattern string
	pause   time.Duration
	file    func(name string) ([]byte, error)

	leave time.Duration // as leaveAfter

	busy  chan struct{} // holds a token for each read of the kernel's files that is under way
	mu    sync.Mutex    // guards tryAt
	tryAt time.Time     // no other read begins before, while one is under way
}

// begin takes a token for a read, unless one is under way that has not hung for long.
func (f *folder) begin(now time.Time) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.busy) > 0 && now.Before(f.tryAt) {
		return false
	}
	select {
	case f.busy <- struct{}{}:
		f.tryAt = now.Add(f.leave << (len(f.busy) - 1))
		return true
	default:
		return false
	}
}

// open looks whether a folder is one of a layout.
func open(path string, l layout) (*folder, error) {
	f := &folder{layout: l, pattern: path, pause: defaultPause, file: readFile, leave: leaveAfter, busy: make(chan struct{}, mostHanging)}
	if path == "" {
		return f, errors.New("open sensor: no path to the sensor's folder")
	}
	dir, err := f.dir()
	if err == nil {
		err = l.find(dir)
	}
	if err != nil {
		return f, fmt.Errorf("open sensor %q: %w", path, err)
	}
	return f, nil
}

// Name returns the kernel's name of the chip, empty if it has none.
func (f *folder) Name() string {
	dir, err := f.dir()
	if err != nil {
		return ""
	}
	b, err := f.file(filepath.Join(dir, "name"))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

func (f *folder) dir() (string, error) {
	if !strings.ContainsAny(f.pattern, "*?[") {
		return f.pattern, nil
	}
	found, err := filepath.Glob(f.pattern)
	switch {
	case err != nil:
		return "", fmt.Errorf("path pattern: %w", err)
	case len(found) == 0:
		return "", ErrAbsent
	case len(found) > 1:
		return "", fmt.Errorf("the path fits %s; want one folder", strings.Join(found, " and "))
	}
	return found[0], nil
}

// Read returns the air as the sensor measures it. Transient faults (EIO, ETIMEDOUT, EAGAIN, and
// an empty file) are tried again, up to three times in all. Values outside -40..85 °C or 0..100
// % give ErrImplausible. A humidity that is outside by at most 2 % is set to the limit instead.
//
// Read returns the error of the context when the context ends. A read of a file that hangs in
// the kernel cannot be interrupted; it continues in a goroutine, and Read returns ErrBlocked until it is
// over, or for a minute. Then it is tried again beside it. There are never more than three such goroutines
// for a sensor; a fourth read waits for one of them.
func (f *folder) Read(ctx context.Context) (air.State, error) {
	for try := 1; ; try++ {
		s, err := f.ask(ctx)
		if err != nil && passing(err) && try < defaultTries {
			if err = pause(ctx, f.pause); err == nil {
				continue
			}
		}
		if err != nil {
			return air.State{}, fmt.Errorf("read sensor %q: %w", f.pattern, err)
		}
		return s, nil
	}
}

// passing reports whether an error may be gone at the next try.
func passing(err error) bool {
	return errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ETIMEDOUT) || errors.Is(err, syscall.EAGAIN) || errors.Is(err, errEmpty)
}

// pause waits for d. It returns the error of the context when the context ends first.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// ask makes one attempt. The files are read in a goroutine that can be left behind.
func (f *folder) ask(ctx context.Context) (air.State, error) {
	if err := ctx.Err(); err != nil {
		return air.State{}, err
	}
	if !f.begin(time.Now()) {
		return air.State{}, ErrBlocked
	}
	type answer struct {
		state air.State
		err   error
	}
	answers := make(chan answer, 1)
	go func() {
		var a answer
		a.state, a.err = f.once()
		<-f.busy
		answers <- a
	}()
	select {
	case a := <-answers:
		return a.state, a.err
	case <-ctx.Done():
		return air.State{}, ctx.Err()
	}
}

// once reads all files of a reading.
func (f *folder) once() (air.State, error) {
	dir, err := f.dir()
	if err != nil {
		return air.State{}, err
	}
	temperature, humidity, err := f.layout.read(func(name string) ([]byte, error) {
		content, err := f.file(filepath.Join(dir, name))
		if errors.Is(err, os.ErrNotExist) || errors.Is(err, syscall.ENODEV) || errors.Is(err, syscall.ENXIO) {
			return nil, fmt.Errorf("%w: %w", ErrAbsent, err)
		}
		return content, err
	})
	if err != nil {
		return air.State{}, err
	}
	return judge(temperature/1000, humidity/1000)
}

// readFile returns the content of a small file. Of a large file it returns only as much as shows
// that it is too large.
func readFile(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	content, err := io.ReadAll(io.LimitReader(f, maxFileBytes))
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	return content, err
}

// isFolder returns nil for a folder, ErrAbsent for nothing and ErrOtherKind for something else.
func isFolder(dir string) error {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return fmt.Errorf("%w: %w", ErrAbsent, err)
	case err != nil:
		return err
	case !info.IsDir():
		return fmt.Errorf("%w: the path is a file, want the sensor's folder", ErrOtherKind)
	}
	return nil
}

// has reports whether a folder has a file of one of the names.
func has(dir string, names ...string) bool {
	for _, name := range names {
		if info, err := os.Stat(filepath.Join(dir, name)); err == nil && !info.IsDir() {
			return true
		}
	}
	return false
}

// named returns the chip's name in a folder with a space behind it, empty if it has none.
func named(dir string) string {
	b, err := readFile(filepath.Join(dir, "name"))
	if name := strings.TrimSpace(string(b)); err == nil && name != "" {
		return name + ": "
	}
	return ""
}
