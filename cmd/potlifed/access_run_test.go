package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/access"
)

// TestWhoMayChangeTheRunningService: what the commands do counts for the service in the
// same moment, and every change is on record with who made it.
func TestWhoMayChangeTheRunningService(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	p := start(t, file)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	browser := &http.Client{Jar: jar, Timeout: patience}
	post := func(c *http.Client, path, body, token string) (status int, answer string) {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, p.http+"/api/v1/"+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		if token != "" {
			r.Header.Set("Authorization", "Bearer "+token)
		}
		response, err := c.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer response.Body.Close()
		text, err := io.ReadAll(response.Body)
		if err != nil {
			t.Fatal(err)
		}
		return response.StatusCode, string(text)
	}
	mixed := fmt.Sprintf(`{"ink":"dial-satin","mixed_at":%q,"components":[{"part":"ink","g":60},{"part":"hardener","g":15}]}`, time.Now().Add(-time.Minute).Format(time.RFC3339))
	want := func(status int, c *http.Client, what, path, body, token string) string {
		t.Helper()
		got, answer := post(c, path, body, token)
		if got != status {
			t.Errorf("%s: status %d, want %d: %s", what, got, status, answer)
		}
		return answer
	}

	want(201, http.DefaultClient, "loopback without a PIN", "batches", mixed, "")
	code, secret, errs := called(t, "", "token", "--config", file, "--name", "line-2", "--may", "mix")
	if code != exitDone {
		t.Fatal(errs)
	}
	secret = strings.TrimSpace(secret)
	want(201, http.DefaultClient, "a new token", "batches", mixed, secret)
	want(403, http.DefaultClient, "beyond its right", "alarms/clock/bench-1/acknowledge", "{}", secret)

	if code, _, errs := called(t, "902817\n", "pin", "--config", file); code != exitDone {
		t.Fatal(errs)
	}
	want(401, browser, "loopback with a PIN", "batches", mixed, "")
	want(401, browser, "a wrong PIN", "session", `{"pin":"111213","device":"tablet"}`, "")
	made := want(200, browser, "pairing", "session", `{"pin":"902817","device":"tablet"}`, "")
	want(201, browser, "paired", "batches", mixed, "")
	if code, _, errs := called(t, "", "token", "revoke", "line-2", "--config", file); code != exitDone {
		t.Fatal(errs)
	}
	want(401, http.DefaultClient, "a revoked token", "batches", mixed, secret)
	var own struct{ ID string }
	if err := json.Unmarshal([]byte(made), &own); err != nil {
		t.Fatal(err)
	}
	want(200, browser, "unpairing", "sessions/own/unpair", "", "")
	want(401, browser, "unpaired", "batches", mixed, "")

	var events struct {
		Events []struct{ Kind, By, Device, Session string }
	}
	p.get("/api/v1/events", &events)
	var by []string
	for _, e := range events.Events {
		switch e.Kind {
		case "recorded", "device-paired", "device-unpaired":
			by = append(by, e.Kind+" "+e.By)
			if e.Kind != "recorded" && (e.Device != "tablet" || e.Session != own.ID) {
				t.Errorf("event %+v", e)
			}
		}
	}
	if want := []string{"recorded local", "recorded line-2", "device-paired tablet", "recorded tablet", "device-unpaired tablet"}; !slices.Equal(by, want) {
		t.Errorf("on record: %q, want %q", by, want)
	}

	data := filepath.Join(b.dir, "data", access.FileName)
	if err := os.WriteFile(data, []byte("{torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if answer := want(503, http.DefaultClient, "a spoilt file", "batches", mixed, ""); !strings.Contains(answer, "restore it") {
		t.Errorf("%s does not say what to do", answer)
	}
	p.stop()
	p = start(t, file) // it starts all the same: the bench must go on
	p.log.wait(t, "the reason at the start", 0, has("nobody can change anything", access.FileName))
	response, err := http.Get(p.http + "/readyz")
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if text, err := io.ReadAll(response.Body); err != nil || response.StatusCode != 503 || !strings.Contains(string(text), "restore it") {
		t.Errorf("readyz: %d %v %s", response.StatusCode, err, text)
	}
	p.stop()
}
