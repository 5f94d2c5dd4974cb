package simulate

import (
	"bufio"
	"context"
	"math"
	"os"
	"testing"
	"time"

	"potlifed/devices/climate"
)

// The lines fit the pattern that goes with them, and a sensor that has stuck shows one value while the torque rises.
func TestADriveTellsItsTorque(t *testing.T) {
	d, err := NewDrive(DriveOptions{Dir: t.TempDir(), Noise: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	pattern, err := climate.ParseValuePattern(DriveLine)
	if err != nil {
		t.Fatal(err)
	}
	shown := func() float64 {
		line := d.line()
		x, err := pattern.Decode(line[:len(line)-2])
		if err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		return x
	}
	for _, torque := range []float64{0, 20, 40} {
		d.Set(torque)
		if x := shown(); math.Abs(x-torque) > 0.05*torque {
			t.Errorf("it shows %v at %v", x, torque)
		}
	}
	d.Stick()
	stuck := shown()
	d.Set(80)
	if x := shown(); x != stuck {
		t.Errorf("stuck at %v it shows %v", stuck, x)
	}
}

func TestADriveSpeaksAndTakesItsNameAway(t *testing.T) {
	d, err := NewDrive(DriveOptions{Dir: t.TempDir(), Every: time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	d.Set(21.5)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	f, err := os.Open(d.Port())
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(f)
	if !lines.Scan() || lines.Text() != "T 21.500 mNm" {
		t.Errorf("it says %q, %v", lines.Text(), lines.Err())
	}
	f.Close()
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if _, err := os.Lstat(d.Port()); !os.IsNotExist(err) {
		t.Errorf("the name is still there: %v", err)
	}
}

func TestNewDriveRefuses(t *testing.T) {
	for what, o := range map[string]DriveOptions{"noise": {TCP: true, Noise: -1}, "time": {TCP: true, Every: -1}, "no folder": {}} {
		if d, err := NewDrive(o); err == nil {
			d.Close()
			t.Errorf("%s is taken", what)
		}
	}
}
