package daemon

import (
	"bytes"
	"fmt"
	"os"
	"testing"
)

func TestReadOnlyMapping(t *testing.T) {
	for line, want := range map[string]string{
		"00400000-01507000 r-xp 00000000 fe:00 123                   /usr/bin/potlifed":           "400000-1507000",
		"01507000-0259b000 r--p 01107000 fe:00 123                   /usr/bin/potlifed":           "1507000-259b000",
		"0259b000-02b45000 rw-p 0219b000 fe:00 123                   /usr/bin/potlifed":           "",
		"7fe7c7805000-7fe7c795b000 r-xp 00026000 fe:00 9             /usr/lib/libc.so.6":          "",
		"00400000-01507000 r-xs 00000000 fe:00 123                   /usr/bin/potlifed":           "",
		"00400000-01507000 r-xp 00000000 fe:00 123                   /usr/bin/potlifed (deleted)": "",
		"2276b2000000-2276b3c00000 rw-p 00000000 00:00 0 ":                                        "",
		"": "",
	} {
		got := ""
		if begin, end, ok := readOnlyMapping(line, "/usr/bin/potlifed"); ok {
			got = fmt.Sprintf("%x-%x", begin, end)
		}
		if got != want {
			t.Errorf("%q: %q, want %q", line, got, want)
		}
	}
}

// TestProgramIsDropped: fewer pages of files are resident after it, and the program runs on.
func TestProgramIsDropped(t *testing.T) {
	before := residentFile(t)
	if err := dropProgram(); err != nil {
		t.Fatal(err)
	}
	if after := residentFile(t); after >= before {
		t.Errorf("%d kB of files are resident, before %d kB", after, before)
	}
}

func residentFile(t *testing.T) (kB int) {
	t.Helper()
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"RssFile:", "RssShmem:"} { // the second where the test's program lies in memory
		_, rest, _ := bytes.Cut(status, []byte(name))
		var n int
		if _, err := fmt.Sscan(string(rest), &n); err != nil {
			t.Fatal(err)
		}
		kB += n
	}
	return kB
}
