package main

import (
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"
)

// TestFaultsOfConnections makes 10,000 connections of every bad kind, 250 at a time, and looks
// whether memory and descriptors come back.
func TestFaultsOfConnections(t *testing.T) {
	if os.Getenv("POTLIFED_FAULTS") == "" {
		t.Skip("10,000 connections")
	}
	f := newFaultShop(t)
	kinds := map[string]string{
		"mute":           "",
		"half a request": "GET /api/v1/presses HTTP/1.1\r\nHost: localhost\r\n",
		"kept alive":     "GET /api/v1/presses HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"a stream":       "GET /api/v1/stream HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"no body":        "POST /api/v1/cans HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 200000\r\n\r\n{",
		"noise":          strings.Repeat("\x16\x03\x01\x00\xff", 100),
	}
	make250 := func() {
		var open []net.Conn
		for range 250 / len(kinds) {
			for _, text := range kinds {
				c, err := net.Dial("tcp", strings.TrimPrefix(f.p.http, "http://"))
				if err != nil {
					t.Fatal(err)
				}
				open = append(open, c)
				_, _ = io.WriteString(c, text) // one too many is closed at once
			}
		}
		time.Sleep(200 * time.Millisecond)
		for _, c := range open {
			_ = c.Close()
		}
	}
	before := f.p.residentKB()
	peak := 0
	for range 10_000/246 + 1 {
		make250()
		peak = max(peak, f.p.residentKB())
	}
	began := time.Now()
	// Go collects garbage every two minutes where little is allocated, and then gives memory back.
	for {
		after, open := f.p.residentKB(), f.p.descriptors()
		if after <= before+8<<10 && open < 40 {
			t.Logf("10,000 connections: resident %d kB before, %d kB at most, %d kB after %v, with %d descriptors",
				before, peak, after, time.Since(began).Round(time.Second), open)
			break
		}
		if time.Since(began) > 5*time.Minute {
			t.Fatalf("resident %d kB before 10,000 connections, %d kB at most, %d kB five minutes after, with %d descriptors", before, peak, after, open)
		}
		time.Sleep(time.Second)
	}
	f.check("10,000 connections", fault{}, 0)
	f.p.stop()
}
