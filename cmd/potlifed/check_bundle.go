package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"regexp"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/plugged"
)

// bundle is what check --bundle collects for somebody far away who is to help.
type bundle struct {
	files []bundled
}

type bundled struct {
	name string
	text []byte
}

func (b *bundle) add(name string, text []byte) { b.files = append(b.files, bundled{name, text}) }

// The keys whose values are passwords or tokens. The configuration names files of secrets, which are not
// collected, but somebody may have written the secret itself; an address may hold a user and a password.
// A value ends with its line, except within braces, where it ends at a comma or a brace.
var (
	secretLine    = regexp.MustCompile(`(?im)^((?:\s*-)*\s*["']?[a-z_]*(?:password|token|secret|pin)["']?\s*:[ \t]*)[^\s{\[].*$`)
	secretInside  = regexp.MustCompile(`(?i)([{,]\s*["']?[a-z_]*(?:password|token|secret|pin)["']?\s*:\s*)(?:"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[^\s{\[,}][^,}\n]*)`)
	secretAddress = regexp.MustCompile(`([a-z]+://)[^/@\s"']*:[^/@\s"']*@`)
)

// withoutSecrets returns a text without what could be a password.
func withoutSecrets(text []byte) []byte {
	text = secretLine.ReplaceAll(text, []byte("${1}removed"))
	text = secretInside.ReplaceAll(text, []byte("${1}removed"))
	return secretAddress.ReplaceAll(text, []byte("${1}removed@"))
}

// fromService are the addresses of the running service that tell its state. None of them needs a right,
// and none holds a secret.
var fromService = []struct{ name, path string }{
	{"readyz.json", "/readyz"},
	{"scales.json", "/api/v1/scales"},
	{"sensors.json", "/api/v1/sensors"},
	{"air.json", "/api/v1/air"},
	{"alarms.json", "/api/v1/alarms"},
	{"lights.json", "/api/v1/lights"},
	{"storage.json", "/api/v1/storage"},
	{"events.json", "/api/v1/events?limit=500"},
	{"metrics.txt", "/metrics"},
}

// mostOfAnAnswer bounds each file of a bundle.
const mostOfAnAnswer = 4 << 20

// collect gathers everything. What cannot be had is said in its place. The shop is nil where the
// configuration is wrong; where the service is, is then not known.
func collect(ctx context.Context, file string, shop *config.Shop, checked []byte, heard []byte) *bundle {
	b := &bundle{}
	for i, name := range config.Files(file) {
		text, err := os.ReadFile(name)
		if err != nil {
			text = []byte(err.Error())
		}
		b.add([]string{"configuration.yaml", "included.yaml"}[i], withoutSecrets(text))
	}
	b.add("check.txt", withoutSecrets(checked))
	b.add("scale-lines.txt", heard)
	b.add("version.txt", versions())
	found, err := plugged.List("/")
	ports, jsonErr := json.MarshalIndent(found, "", "  ")
	if err = errors.Join(err, jsonErr); err != nil {
		ports = append(ports, "\n"+err.Error()...)
	}
	b.add("ports.json", ports)
	if shop == nil {
		return b
	}
	client := &http.Client{Timeout: 10 * time.Second}
	for _, f := range fromService {
		answer, err := fetch(ctx, client, serviceAddress(*shop)+f.path)
		if err != nil {
			b.add(f.name+".error", []byte("the service did not answer: "+err.Error()+"\n"))
			continue
		}
		b.add(f.name, withoutSecrets(answer))
	}
	return b
}

// serviceAddress is where this computer reaches the service.
func serviceAddress(shop config.Shop) string {
	scheme := "http"
	if pageHasTLS(shop.HTTP.WebConfigFile) {
		scheme = "https"
	}
	host, port, err := net.SplitHostPort(shop.HTTP.Listen)
	if err != nil { // the configuration was checked
		return scheme + "://" + shop.HTTP.Listen
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return scheme + "://" + net.JoinHostPort(host, port)
}

func fetch(ctx context.Context, client *http.Client, address string) ([]byte, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return nil, err
	}
	response, err := client.Do(request)
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	text, err := io.ReadAll(io.LimitReader(response.Body, mostOfAnAnswer))
	if err == nil && response.StatusCode >= 400 && response.StatusCode != http.StatusServiceUnavailable {
		err = errors.New(response.Status)
	}
	return text, err
}

// versions names the program, its modules and the system.
func versions() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "potlifed %s, %s/%s, %s\n", version(), runtime.GOOS, runtime.GOARCH, runtime.Version())
	for _, file := range []string{"/etc/os-release", "/proc/version", "/proc/device-tree/model"} {
		if text, err := os.ReadFile(file); err == nil {
			fmt.Fprintf(&b, "\n%s:\n%s\n", file, bytes.Trim(text, "\x00\n"))
		}
	}
	if info, ok := debug.ReadBuildInfo(); ok {
		fmt.Fprintln(&b, "\nmodules:")
		for _, m := range info.Deps {
			fmt.Fprintln(&b, m.Path, m.Version)
		}
	}
	return b.Bytes()
}

// save writes the bundle and says what is in it.
func (b *bundle) save(out io.Writer, name string) error {
	if err := b.write(name); err != nil {
		return fmt.Errorf("check: bundle: %w", err)
	}
	_, err := fmt.Fprintf(out, "bundle %s: %s; look through it before you send it\n", name, b.names())
	return err
}

// write writes the bundle as a zip file that only its owner may read.
func (b *bundle) write(name string) (err error) {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s exists already; name another file after --bundle", name)
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	z := zip.NewWriter(f)
	for _, file := range b.files {
		w, err := z.CreateHeader(&zip.FileHeader{Name: file.name, Method: zip.Deflate, Modified: time.Now()})
		if err != nil {
			return err
		}
		if _, err := w.Write(file.text); err != nil {
			return err
		}
	}
	return z.Close()
}

// names lists the files of a bundle.
func (b *bundle) names() string {
	var names []string
	for _, f := range b.files {
		names = append(names, f.name)
	}
	return strings.Join(names, ", ")
}
