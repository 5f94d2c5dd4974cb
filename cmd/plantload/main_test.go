package main

import (
	"bytes"
	"strings"
	"testing"
)

func TestWrongRequests(t *testing.T) {
	for _, args := range [][]string{{"--benches", "0"}, {"--benches", "501"}, {"--for", "0s"}, {"--mix-every", "-1s"}, {"--broker", ""}} {
		var out, errs bytes.Buffer
		if code := run(t.Context(), args, &out, &errs); code != 2 || !strings.Contains(errs.String(), "plantload: want ") {
			t.Errorf("%v: exit code %d, %s", args, code, &errs)
		}
	}
}

func TestNoBroker(t *testing.T) {
	var out, errs bytes.Buffer
	if code := run(t.Context(), []string{"--broker", "mqtt://127.0.0.1:1", "--for", "1s"}, &out, &errs); code != 1 || !strings.Contains(errs.String(), "127.0.0.1:1") {
		t.Errorf("exit code %d, %s", code, &errs)
	}
}
