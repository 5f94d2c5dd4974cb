package rehearsal

import (
	"bytes"
	"os"
	"strconv"
	"time"

	"golang.org/x/sys/unix"
)

func cpuTime() time.Duration {
	var u unix.Rusage
	if unix.Getrusage(unix.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// residentBytes returns the second field of /proc/self/statm in bytes; the file has pages
// (proc(5)).
func residentBytes() float64 {
	b, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0
	}
	fields := bytes.Fields(b)
	if len(fields) < 2 {
		return 0
	}
	pages, err := strconv.ParseFloat(string(fields[1]), 64)
	if err != nil {
		return 0
	}
	return pages * float64(os.Getpagesize())
}

// usageOf returns what another process has used, from fields 14, 15 and 24 of /proc/PID/stat (proc(5)). Without such a
// process the figures are 0.
func usageOf(pid int) usage {
	u := usage{at: time.Now()}
	b, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
	_, rest, named := bytes.Cut(b, []byte(") "))
	fields := bytes.Fields(rest)
	if err != nil || !named || len(fields) < 22 {
		return u
	}
	for _, i := range []int{11, 12} { // those after the name begin with field 3
		ticks, _ := strconv.ParseInt(string(fields[i]), 10, 64)
		u.cpu += time.Duration(ticks) * (time.Second / 100) // USER_HZ is 100 on every Linux that potlifed runs on
	}
	pages, _ := strconv.ParseFloat(string(fields[21]), 64)
	u.memory = pages * float64(os.Getpagesize())
	return u
}
