package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestStudiesRunInAProcessOfTheirOwn: the program starts itself for a study and for a report, and says nothing of
// doing them in its own process.
func TestStudiesRunInAProcessOfTheirOwn(t *testing.T) {
	t.Parallel()
	p := start(t, newHardware(t).configuration(t, ""))
	before := faultsOfChildren(t, p.cmd.Process.Pid)
	if text := p.text("/api/v1/study"); !strings.Contains(text, `"not-enough-data"`) {
		t.Errorf("the study: %s", text)
	}
	between := faultsOfChildren(t, p.cmd.Process.Pid)
	if text := p.text("/report"); !strings.Contains(text, "</html>") {
		t.Errorf("the report: %s", text)
	}
	if after := faultsOfChildren(t, p.cmd.Process.Pid); before >= between || between >= after {
		t.Errorf("page faults of processes that the program started: %d, %d after a study, %d after a report", before, between, after)
	}
	if _, line, _ := p.log.find(0, has("own process")); line != "" {
		t.Error(line)
	}
}

// faultsOfChildren returns the minor page faults of the children that a process has waited for (proc(5): field 11
// of stat).
func faultsOfChildren(t *testing.T, pid int) int {
	t.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')')+1:]))
	n, err := strconv.Atoi(fields[8])
	if err != nil {
		t.Fatal(err)
	}
	return n
}
