package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/rehearsal"
)

// TestMain lets a test run this program as a process of its own.
func TestMain(m *testing.M) {
	if os.Getenv("PLANTLOAD_ITSELF") != "" {
		main()
	}
	os.Exit(m.Run())
}

func TestWrongRequests(t *testing.T) {
	for _, args := range [][]string{
		{"--benches", "0"}, {"--benches", "501"}, {"--for", "0s"}, {"--mix-every", "-1s"}, {"--broker", ""}, {"--benches", "2001", "--wire"},
		{"--processes", "0"}, {"--benches", "2", "--processes", "3"}, {"--password-file", "/p"},
	} {
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

// Two processes share wire benches at a broker with users and TLS; their reports are one.
func TestWireBenchesInTwoProcesses(t *testing.T) {
	dir := t.TempDir()
	cert, key := mqtttest.SelfSigned(t, dir)
	users, password := filepath.Join(dir, "users"), filepath.Join(dir, "password")
	for file, text := range map[string]string{users: "plant:secret\n", password: "secret\n"} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	mqtttest.HashPasswords(t, users)
	m := mqtttest.StartMosquitto(t)
	m.Stop()
	m.Configure("allow_anonymous false\npassword_file " + users + "\ncafile " + cert + "\ncertfile " + cert + "\nkeyfile " + key + "\n")
	m.Start()
	t.Setenv("PLANTLOAD_ITSELF", "1")
	args := []string{"--broker", "mqtts://" + m.Addr(), "--ca-file", cert, "--username", "plant", "--password-file", password,
		"--wire", "--benches", "3", "--for", "2s"}
	var out, errs bytes.Buffer
	if code := run(t.Context(), append(args, "--processes", "2", "--json"), &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s%s", code, &errs, &out)
	}
	var r rehearsal.PlantReport
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatal(err)
	}
	if r.Benches != 3 || r.Total().Messages == 0 || r.UpAfter <= 0 || r.Gaps+r.DarkLights+len(r.WrongLights)+len(r.MissingEvents) > 0 {
		t.Errorf("%+v", r)
	}
	out.Reset()
	if code := run(t.Context(), append(args[:4:4], "--for", "1s"), &out, &errs); code != 1 { // without a user
		t.Errorf("without a user: exit code %d: %s", code, &out)
	}
}
