package label

import (
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"potlifed/daemon/words"
)

var made = time.Date(2026, 6, 12, 8, 20, 0, 0, time.Local)

func aLabel() Label {
	return Label{
		Batch: "0612-3b", Ink: "dial-satin", Press: "press-1", MixedAt: made.Add(-15 * time.Minute), MadeAt: made,
		Low: made.Add(5 * time.Hour), Expected: made.Add(17 * time.Hour), URL: "https://bench-1.local:9755/p/batches/0612-3b",
	}
}

// draw rasterises the code's path: from M x y, h to the right, v down, h back, z.
func draw(t *testing.T, svg string) image.Image {
	t.Helper()
	group := regexp.MustCompile(`<g transform="translate\(35 1\) scale\(([\d.]+)\) translate\(4 4\)"><path shape-rendering="crispEdges" d="([^"]*)"`).FindStringSubmatch(svg)
	if group == nil {
		t.Fatal("no code is drawn")
	}
	module, _ := strconv.ParseFloat(group[1], 64)
	const pixels = 6
	modules := int(25/module + 0.5)
	img := image.NewGray(image.Rect(0, 0, modules*pixels, modules*pixels))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	for _, run := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`).FindAllStringSubmatch(group[2], -1) {
		x, _ := strconv.Atoi(run[1])
		y, _ := strconv.Atoi(run[2])
		n, _ := strconv.Atoi(run[3])
		for px := (x + 4) * pixels; px < (x+4+n)*pixels; px++ {
			for py := (y + 4) * pixels; py < (y+5)*pixels; py++ {
				img.SetGray(px, py, color.Gray{})
			}
		}
	}
	return img
}

// What is drawn can be read by somebody else's reader.
func TestCodeCanBeRead(t *testing.T) {
	l := aLabel()
	for _, url := range []string{l.URL, "http://10.0.0.7:9755/batches/0612-1", "https://" + strings.Repeat("long-name.", 12) + "example/batches/0612-12c"} {
		l.URL = url
		svg, err := l.SVG()
		if err != nil {
			t.Fatal(err)
		}
		bits, err := gozxing.NewBinaryBitmapFromImage(draw(t, string(svg)))
		if err != nil {
			t.Fatal(err)
		}
		read, err := qrcode.NewQRCodeReader().Decode(bits, nil)
		if err != nil {
			t.Fatalf("%s: %v", url, err)
		}
		if read.GetText() != url {
			t.Errorf("read %q, want %q", read.GetText(), url)
		}
	}
	l.URL = "https://" + strings.Repeat("x", 3000)
	if _, err := l.SVG(); err == nil {
		t.Error("an URL that no code holds was drawn")
	}
}

func TestLabelSaysWhatItMust(t *testing.T) {
	l := aLabel()
	l.Ink = `a "b" <c> & ` + strings.Repeat("x", 30)
	for _, url := range []string{l.URL, ""} {
		l.URL = url
		svg, err := l.SVG()
		if err != nil {
			t.Fatal(err)
		}
		d := xml.NewDecoder(strings.NewReader(string(svg)))
		var words strings.Builder
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("not XML: %v", err)
			}
			if text, ok := token.(xml.CharData); ok {
				words.Write(text)
				words.WriteByte('\n')
			}
		}
		for _, want := range []string{"0612-3b", l.Ink, "mixed 08:05, press-1", "safe to 13:20", "expected end Sat 01:20", "Estimated 12 Jun 2026, 08:20", "it may give off gas", "Isocyanate", "Do not top up old ink", "may be earlier in humid air: look at the light"} {
			if !strings.Contains(words.String(), want) {
				t.Errorf("the label does not say %q:\n%s", want, words.String())
			}
		}
		if has := strings.Contains(string(svg), "crispEdges"); has != (url != "") {
			t.Errorf("with the URL %q a code is drawn: %v", url, has)
		}
		if strings.Contains(string(svg), "style=") {
			t.Error("an inline style, which the page's policy forbids")
		}
	}
	l.Locale.Zone = time.FixedZone("", -5*3600)
	if got := l.Words(); !strings.Contains(got, "mixed "+l.MixedAt.In(l.Locale.Zone).Format("15:04")) {
		t.Errorf("in the shop's zone: %s", got)
	}
	l.Locale.Zone = nil
	l.RatioFault = "28 % too much hardener: only for a trial print"
	if svg, err := l.SVG(); err != nil || !strings.Contains(string(svg), ">Out of ratio<") || !strings.Contains(string(svg), ">"+l.RatioFault+"<") || strings.Contains(string(svg), ">expected end") {
		t.Errorf("out of ratio: %v: %s", err, svg)
	}
	l.RatioFault = ""
	l.Uncertain = true
	if svg, err := l.SVG(); err != nil || !strings.Contains(string(svg), fmt.Sprintf("%s, uncertain", "08:20")) {
		t.Errorf("%v: %s", err, svg)
	}
}

// TestLabelInPseudoLanguage: all that a label says is from the catalogue, and what is longer than the label
// is squeezed to its width.
func TestLabelInPseudoLanguage(t *testing.T) {
	l := aLabel()
	l.Locale = words.Locale{Language: words.Pseudo(words.English()), Fahrenheit: true}
	for _, uncertain := range []bool{false, true} {
		l.Uncertain = uncertain
		svg, err := l.SVG()
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range regexp.MustCompile(`<(?:text|title)([^>]*)>([^<]*)<`).FindAllStringSubmatch(string(svg), -1) {
			if english := words.NotPseudo(line[2], l.Batch, l.Ink, l.Press); english != "" {
				t.Errorf("%q of %q is not from the catalogue", english, line[2])
			}
			if size, err := strconv.ParseFloat(regexp.MustCompile(`font-size="([\d.]+)"|$`).FindStringSubmatch(line[1])[1], 64); err == nil &&
				float64(utf8.RuneCountInString(line[2]))*size*0.6 > width-4 && !strings.Contains(line[1], "textLength=") {
				t.Errorf("%q is cut", line[2])
			}
		}
	}
}
