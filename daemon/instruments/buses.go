package instruments

import (
	"sync"

	"potlifed/devices/link"
	"potlifed/devices/modbus"
)

// buses are the Modbus lines in use, by port. Units on one line share it.
type buses struct {
	mu  sync.Mutex // guards all
	all map[string]*modbus.Bus
}

// at returns the line at a port, a new one the first time.
func (b *buses) at(s link.Settings, f modbus.Framing) (*modbus.Bus, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if line := b.all[s.Port]; line != nil {
		return line, nil
	}
	line, err := modbus.New(s, f)
	if err != nil {
		return nil, err
	}
	if b.all == nil {
		b.all = map[string]*modbus.Bus{}
	}
	b.all[s.Port] = line
	return line, nil
}

// close closes all lines. Nobody reads them any more.
func (b *buses) close() (failed []error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.all {
		if err := line.Close(); err != nil {
			failed = append(failed, err)
		}
	}
	return failed
}
