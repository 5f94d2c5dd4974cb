package rehearsal

import "time"

// usage is what this process has used. What a system does not say is 0.
type usage struct {
	at     time.Time
	cpu    time.Duration
	memory float64 // bytes that are resident
}

func usageNow() usage { return usage{at: time.Now(), cpu: cpuTime(), memory: residentBytes()} }
