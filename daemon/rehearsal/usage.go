package rehearsal

import "time"

// usage is what this process has used. A figure that the system does not tell is 0.
type usage struct {
	at     time.Time
	cpu    time.Duration
	memory float64 // resident bytes
}

func usageNow() usage { return usage{at: time.Now(), cpu: cpuTime(), memory: residentBytes()} }
