//go:build !linux

package clock

import (
	"strconv"
	"time"
)

// On systems other than Linux the program runs for trials only: a boot is then one run of the
// program, and the wall clock counts as set.
var began = time.Now()

func bootID() (string, error)  { return strconv.FormatInt(began.UnixNano(), 36), nil }
func sinceBoot() time.Duration { return time.Since(began) }
func kernelSynced() bool       { return true }
