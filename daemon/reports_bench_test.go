package daemon

import (
	"context"
	"log/slog"
	"net/http"
	"strings"
	"testing"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
)

// BenchmarkPrintReport is a press's report of one print through HTTP, until it is answered as on
// disk. Budget on a Pi 4 with a good card: 15 ms.
func BenchmarkPrintReport(b *testing.B) {
	text := strings.NewReplacer("%DIR%", b.TempDir(), "%FILE%", `""`).Replace(shop)
	c, err := config.Parse("shop.yaml", []byte(text))
	if err != nil {
		b.Fatal(err)
	}
	now, err := clock.NewSystem(true)
	if err != nil {
		b.Fatal(err)
	}
	at, ended := make(chan string, 1), make(chan error, 1)
	ctx, stop := context.WithCancel(b.Context())
	o := Options{Shop: c, Version: "test", Clock: now, Log: slog.New(slog.DiscardHandler), Ready: func(a Addresses) { at <- a.HTTP }}
	go func() { ended <- Run(ctx, o) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			b.Error(err)
		}
	}()
	address := "http://" + <-at + "/api/v1/presses/press-1/prints"
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	for b.Loop() {
		answer, err := client.Post(address, "application/json", strings.NewReader(`{"add":1}`))
		if err != nil {
			b.Fatal(err)
		}
		answer.Body.Close()
		if answer.StatusCode != http.StatusOK {
			b.Fatal(answer.Status)
		}
	}
}
