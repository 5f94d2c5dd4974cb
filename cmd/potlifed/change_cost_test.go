package main

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// BenchmarkChangeOverHTTP measures one change from the request to its answer: the same
// batch is put on one press and on the other in turn. The answer comes once the event
// is on disk. The program is the built one, with its built-in broker.
func BenchmarkChangeOverHTTP(b *testing.B) {
	dir := b.TempDir()
	file := filepath.Join(dir, "potlifed.yaml")
	text := fmt.Sprintf(`bench: bench-1
data_dir: %s
http: {listen: "127.0.0.1:0"}
broker: {listen: "127.0.0.1:0"}
clock: assume
scales: [{id: scale-1, port: /nowhere, division_g: 0.1, zone: hall}]
sensors: [{id: hall-air, zone: hall, path: /nowhere}]
presses: [{id: press-1, zone: hall}, {id: press-2, zone: hall}]
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
`, filepath.Join(dir, "data"))
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	p := start(b, file)
	post := func(path, body string) {
		r, err := http.Post(p.http+"/api/v1/"+path, "application/json", strings.NewReader(body))
		if err != nil {
			b.Fatal(err)
		}
		defer r.Body.Close()
		answer, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode >= 300 {
			b.Fatalf("POST %s: %s %v: %s", path, r.Status, err, answer)
		}
	}
	post("batches", `{"ink":"dial-satin","mixed_at":"`+time.Now().UTC().Format(time.RFC3339)+
		`","components":[{"part":"ink","g":85},{"part":"hardener","g":17},{"part":"thinner","g":8}]}`)
	var list struct {
		Batches []struct {
			ID string `json:"id"`
		} `json:"batches"`
	}
	p.get("/api/v1/batches", &list)
	id := list.Batches[0].ID
	for i := 0; b.Loop(); i++ {
		post("batches/"+id+"/load", fmt.Sprintf(`{"press":"press-%d"}`, 1+i%2))
	}
}
