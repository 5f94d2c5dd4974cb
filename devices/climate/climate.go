// Package climate reads sensors of air temperature and relative humidity.
//
// [HWMon] and [IIO] read a sensor that has a driver in the kernel, through the files of its
// folder. Accuracy, resolution and range are those of the chip. Values outside -40..85 °C or
// 0..100 % are never returned.
package climate

import (
	"errors"
	"fmt"

	"potlifed/model/air"
)

// Errors that a caller tests for.
var (
	// ErrAbsent means that the folder, or a file that was there before, is not there.
	ErrAbsent = errors.New("the sensor is not there")
	// ErrNoHumidity means that the device is there and measures no humidity.
	ErrNoHumidity = errors.New("it measures no humidity")
	// ErrOtherKind means that the device is there and is of another kind.
	ErrOtherKind = errors.New("it is of another kind")
	// ErrImplausible means that the sensor gave a value that air cannot have.
	ErrImplausible = errors.New("no air has this value")
	// ErrGarbled means that a value cannot be read as a number.
	ErrGarbled = errors.New("want one number")
	// ErrBlocked means that an earlier read has not returned from the kernel.
	ErrBlocked = errors.New("an earlier read is still waiting for the kernel")
)

// Limits of the values that are accepted. Sensors may show a little less than 0 or more than 100
// % at the ends of their range.
const (
	lowestTemperatureC  = -40
	highestTemperatureC = 85
	humiditySlackPct    = 2
)

// judge returns the air of two values, or ErrImplausible. A humidity that is outside by at most
// 2 % is set to the limit instead.
func judge(temperatureC, humidityPct float64) (air.State, error) {
	s := air.State{TemperatureC: temperatureC, HumidityPct: humidityPct}
	if !(s.TemperatureC >= lowestTemperatureC && s.TemperatureC <= highestTemperatureC) { // also not a number
		return air.State{}, fmt.Errorf("%g °C: %w, want %d..%d", s.TemperatureC, ErrImplausible, lowestTemperatureC, highestTemperatureC)
	}
	if !(s.HumidityPct >= -humiditySlackPct && s.HumidityPct <= 100+humiditySlackPct) {
		return air.State{}, fmt.Errorf("%g %%: %w, want 0..100", s.HumidityPct, ErrImplausible)
	}
	s.HumidityPct = min(max(s.HumidityPct, 0), 100)
	return s, nil
}
