package simulate

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"

	"potlifed/model/air"
)

// The files of a humidity sensor, by the kernel's Documentation/hwmon/sysfs-interface.
const (
	roomName        = "name"
	roomTemperature = "temp1_input"
	roomHumidity    = "humidity1_input"
)

// Room simulates the humidity sensor of a room as the kernel shows it: a folder with the files
// name, temp1_input and humidity1_input, in thousandths of a degree Celsius and of a per cent.
// Each file is written under another name and renamed, so that a reader sees the old value or
// the new one. Of the two files, a reader may see one old and one new, as with a real sensor.
type Room struct{ dir string }

// NewRoom makes the folder, within one that exists, and writes the first air.
func NewRoom(dir string, first air.State) (*Room, error) {
	if err := os.Mkdir(dir, 0o755); err != nil && !errors.Is(err, os.ErrExist) {
		return nil, fmt.Errorf("simulate room: %w", err)
	}
	r := &Room{dir: dir}
	if err := r.SetRaw(roomName, "simulated\n"); err != nil {
		return nil, err
	}
	if err := r.Set(first); err != nil {
		return nil, err
	}
	return r, nil
}

// Path returns the path of the folder.
func (r *Room) Path() string { return r.dir }

// Set sets the air of the room. It also ends a Fail. Values that no sensor would show are
// written unchanged.
func (r *Room) Set(s air.State) error {
	return errors.Join(
		r.SetRaw(roomTemperature, thousandths(s.TemperatureC)),
		r.SetRaw(roomHumidity, thousandths(s.HumidityPct)),
	)
}

func thousandths(value float64) string {
	return strconv.FormatInt(int64(math.Round(value*1000)), 10) + "\n"
}

// SetRaw writes the content of a file unchanged, for content that no sensor should have.
func (r *Room) SetRaw(file, content string) error {
	aside := filepath.Join(r.dir, "."+file+".new")
	if err := os.WriteFile(aside, []byte(content), 0o644); err != nil {
		return fmt.Errorf("simulate room: %w", err)
	}
	if err := os.Rename(aside, filepath.Join(r.dir, file)); err != nil {
		return fmt.Errorf("simulate room: %w", err)
	}
	return nil
}

// Fail removes both values, as when the driver of a sensor is unloaded.
func (r *Room) Fail() error {
	err := errors.Join(os.Remove(filepath.Join(r.dir, roomTemperature)), os.Remove(filepath.Join(r.dir, roomHumidity)))
	if err != nil {
		return fmt.Errorf("simulate room: %w", err)
	}
	return nil
}
