package rehearsal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/simulate"
)

// The names in the shop. It prints the scales on rain gauges, and the dials of garden
// thermometers in two colours.
const (
	benchName = "bench-1"
	prefix    = "potlife"
	scaleName = "scale-1"
	mixing    = "mixing-room"
	presses   = "press-room"
	divisionG = 0.1
	// What a cup of each size weighs; a little less than its empty_g says.
	smallCupG = 8.8
	largeCupG = 17.6
)

// configuration is the shop's file, as somebody might have written it. %s are the
// address to listen on, the data folder, the scale's port, the folders of the two
// sensors, the scale's settings and the drive's port; %q quotes as YAML does what a path may hold.
//
// gauge-quick lives for less than two hours, so that nobody waits for the story, and
// the alarms come as late as fits such an ink. A sensor is read every ten seconds:
// three of these must not pass in a moment in which a busy computer does other things.
const configuration = `bench: ` + benchName + `
clock: assume
data_dir: %[2]q
http: {listen: %[1]q}
broker: {listen: "127.0.0.1:0"}
mqtt: {topic_prefix: ` + prefix + `, commands: true}
scales:
  - {id: ` + scaleName + `, port: %[3]q, %[6]s, division_g: 0.1, capacity_g: 2000, zone: ` + mixing + `}
sensors:
  - {id: mixing-room-air, zone: ` + mixing + `, path: %[4]q, every: 10s}
  - {id: press-room-air, zone: ` + presses + `, path: %[5]q, every: 10s}
cups:
  - {id: cup-110, mouth_mm: 110, ink_minimum_g: 85, fill_maximum_g: 150, empty_g: 18}
  - {id: cup-70, mouth_mm: 70, ink_minimum_g: 40, fill_maximum_g: 80, empty_g: 9}
presses:
  - {id: press-1, zone: ` + presses + `, cup: cup-70}
  - {id: press-2, zone: ` + presses + `, cup: cup-110}
  - {id: press-3, zone: ` + presses + `, cup: cup-110}
lights:
  - {id: light-1, presses: [press-1]}
  - {id: light-2, presses: [press-2], reads: [json]}
  - {id: light-3, presses: [press-3], reads: [json]}
hardeners:
  - {id: hardener-a}
  - {id: hardener-b}
thinners:
  - {id: thinner-s}
inks:
  - {id: gauge-quick, hardener: hardener-b, hardener_ratio: "3:1", thinners: [thinner-s], thinner_pct: {min: 8, max: 18, dark: 9, light: 11}, pot_life: {shortest: 55m, longest: 1h45m}}
  - {id: dial-satin, hardener: hardener-a, hardener_ratio: "5:1", thinners: [thinner-s], thinner_pct: {min: 6, max: 14, dark: 7, light: 9}, pot_life: {shortest: 4h30m, longest: 5h30m}}
  - {id: dial-flat, hardener: hardener-a, hardener_ratio: "8:1", thinners: [thinner-s], thinner_pct: {min: 6, max: 14, dark: 7, light: 9}, pot_life: {shortest: 9h, longest: 11h}}
  - {id: dial-bend, hardener: hardener-a, hardener_ratio: "25:2", thinners: [thinner-s], thinner_pct: {min: 8, max: 18, dark: 9, light: 11}, pot_life: {about: 14h}}
alarms: {ending_before: 10m, mixing_takes: 5m}
trends:
  - {id: stirrer-2, observes: {batch-of: ` + stirs + `}, source: line, port: %[7]q, line: "` + simulate.DriveLine + `", idle_below: 1}
`

// shop holds the instruments, and the folder of all files of the shop.
type shop struct {
	dir   string
	scale *simulate.Scale
	drive *simulate.Drive // moves the ink of press-2 and tells its torque
	shape string          // how the scale sends
	rooms map[string]*simulate.Room
}

// openShop makes the shop in a folder of its own. fastest is the speed of the time lapse.
// shape is one of simulate.Shapes; with "asked-" before it the scale sends only when it is asked.
func openShop(fastest float64, seed uint64, shape string) (*shop, error) {
	dir, err := os.MkdirTemp("", "potlifed-demo-")
	if err == nil {
		dir, err = filepath.Abs(dir)
	}
	if err != nil {
		return nil, fmt.Errorf("demo: a temporary folder: %w", err)
	}
	s := &shop{dir: dir, shape: shape, rooms: map[string]*simulate.Room{}}
	if err := s.fill(fastest, seed); err != nil {
		return nil, errors.Join(fmt.Errorf("demo: %w", err), s.close())
	}
	return s, nil
}

func (s *shop) fill(fastest float64, seed uint64) (err error) {
	for _, room := range []string{mixing, presses} {
		if s.rooms[room], err = simulate.NewRoom(filepath.Join(s.dir, room), airIn(room, 0)); err != nil {
			return err
		}
	}
	shape, asked := strings.CutPrefix(s.shape, asking)
	if s.drive, err = simulate.NewDrive(simulate.DriveOptions{Dir: s.dir, Name: "stirrer-2", Every: lineEvery(fastest), Noise: 0.002, Seed: seed}); err != nil {
		return err
	}
	request := ""
	if asked {
		request = demoRequest
	}
	s.scale, err = simulate.NewScale(simulate.ScaleOptions{
		Shape: shape, Request: request,
		Dir: s.dir, Name: scaleName, DivisionG: divisionG, NoiseG: 0.02, Seed: seed,
		Every: lineEvery(fastest), Settle: 400 * time.Millisecond,
	})
	return err
}

// lineEvery returns how often the scale sends: as a real scale does, and in the time lapse about
// once per second of bench time, after which a weight is not old yet, but never more than 200
// lines a second.
func lineEvery(fastest float64) time.Duration {
	every := time.Duration(float64(1200*time.Millisecond) / fastest)
	return min(max(every, 5*time.Millisecond), 100*time.Millisecond)
}

// configure writes the configuration of the shop.
func (s *shop) configure(listen string) (config.Shop, error) {
	text := fmt.Sprintf(configuration, listen, filepath.Join(s.dir, "journal"), s.scale.Port(),
		s.rooms[mixing].Path(), s.rooms[presses].Path(), s.scaleSettings(), s.drive.Port())
	checked, err := config.Parse("demo", []byte(text))
	if err != nil {
		return checked, fmt.Errorf("demo: the shop's configuration: %w", err)
	}
	return checked, nil
}

const (
	asking      = "asked-"
	demoRequest = "P\r\n"
)

// ScaleShapes returns the shapes that [Options.Scale] takes.
func ScaleShapes() []string {
	var names []string
	for name := range simulate.Shapes() {
		names = append(names, name)
		if name != "hid" {
			names = append(names, asking+name)
		}
	}
	slices.Sort(names)
	return names
}

// scaleSettings are the configuration's settings for the shape of the scale.
func (s *shop) scaleSettings() string {
	shape, asked := strings.CutPrefix(s.shape, asking)
	line := "auto"
	if known := simulate.Shapes()[shape].Line; strings.Contains(known, "{") || shape == "sign-digits" {
		line = known
	}
	settings := fmt.Sprintf("line: %q", line)
	if asked {
		settings += fmt.Sprintf(", request: %q, every: 50ms", demoRequest)
	}
	return settings
}

// close removes the instruments and the folder. Everything that uses them must have ended.
func (s *shop) close() error {
	var errs []error
	if s.scale != nil {
		errs = append(errs, s.scale.Close())
	}
	if s.drive != nil {
		errs = append(errs, s.drive.Close())
	}
	return errors.Join(append(errs, os.RemoveAll(s.dir))...)
}
