//go:build !linux

package rehearsal

import "time"

func cpuTime() time.Duration { return 0 }

func residentBytes() float64 { return 0 }

func usageOf(int) usage { return usage{at: time.Now()} }
