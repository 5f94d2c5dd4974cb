package mqtt

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/topics"
)

const commandHead = `"ref":"r1","at":"2026-06-12T08:00:00+02:00"`

var commandExamples = map[string]string{
	"mix":            `{` + commandHead + `,"scale":"scale-1","ink":"dial-satin","press":"press-1","ink_g":60.5}`,
	"record":         `{` + commandHead + `,"ink":"dial-satin","mixed_at":"2026-06-12T07:00:00Z","cup":"cup-110","components":[{"part":"ink","g":85},{"part":"hardener","can":"h1","g":17}]}`,
	"confirm":        `{` + commandHead + `,"batch":"0612-1","step":"hardener","tared":true}`,
	"correct":        `{` + commandHead + `,"batch":"0612-1","undo":true}`,
	"undo":           `{` + commandHead + `,"batch":"0612-1","seq":17}`,
	"take-up":        `{` + commandHead + `,"batch":"0612-1","override":"a stick stands in it"}`,
	"pour-over":      `{` + commandHead + `,"batch":"0612-1","cup":"cup-130","empty_g":18.4}`,
	"load":           `{` + commandHead + `,"batch":"0612-1","press":"press-1"}`,
	"unload":         `{` + commandHead + `,"batch":"0612-1"}`,
	"good":           `{` + commandHead + `,"batch":"0612-1"}`,
	"abandon":        `{` + commandHead + `,"batch":"0612-1"}`,
	"close":          `{` + commandHead + `,"batch":"0612-1","outcome":"used-up","left_g":0}`,
	"move":           `{` + commandHead + `,"batch":"0612-1","zone":"hall","exposure":0.5}`,
	"split":          `{` + commandHead + `,"batch":"0612-1","grams":20,"to":{"press":"press-2"}}`,
	"top-up":         `{` + commandHead + `,"batch":"0612-1","from":"0612-2"}`,
	"thin":           `{` + commandHead + `,"batch":"0612-1","grams":2}`,
	"reweigh":        `{` + commandHead + `,"batch":"0612-1","content_g":80.5}`,
	"flow-time":      `{` + commandHead + `,"batch":"0612-1","cup":"ford-4","seconds":48.5,"second_run_s":49,"ink_temperature_c":22.5}`,
	"tests":          `{` + commandHead + `,"batch":"0612-1","kind":"adhesion","result":"pass","printed_at":"2026-06-12T13:00:00Z","corrects":41}`,
	"acknowledge":    `{` + commandHead + `,"alarm":"batch-ending","subject":"0612-1"}`,
	"shelve":         `{` + commandHead + `,"alarm":"sensor-stale","subject":"bench-air","until":"2026-06-12T09:00:00Z","reason":"being moved"}`,
	"unshelve":       `{` + commandHead + `,"alarm":"sensor-stale","subject":"bench-air"}`,
	"out-of-service": `{` + commandHead + `,"sensor":"bench-air","until":"2026-06-13T09:00:00Z","reason":"in the salt jar"}`,
	"prints":         `{` + commandHead + `,"press":"press-1","add":12}`,
	"defects":        `{` + commandHead + `,"press":"press-1","kind":"pinholes","add":-1}`,
	"cans":           `{` + commandHead + `,"hardener":"hardener-a","lot":"A 17","use_by":"2027-01-31"}`,
	"opened":         `{` + commandHead + `,"can":"hardener-1","on":"2026-06-12"}`,
	"stirred":        `{` + commandHead + `,"can":"ink-1"}`,
	"emptied":        `{` + commandHead + `,"can":"ink-1","undo":true}`,
	"start-jars":     `{` + commandHead + `,"ink":"dial-satin","jars":[{"temperature_c":20,"salt":"sodium-chloride"},{"temperature_c":35,"humidity_pct":32}]}`,
	"look-at-jar":    `{` + commandHead + `,"ink":"dial-satin","jar":1,"seen":"good"}`,
	"end-jars":       `{` + commandHead + `,"ink":"dial-satin","discard":true}`,
	"verifications":  `{` + commandHead + `,"sensor":"bench-air","humidity_pct":75.3,"temperature_c":25}`,
	"in-service":     `{` + commandHead + `,"sensor":"bench-air"}`,

	"accept-correction":   `{` + commandHead + `,"sensor":"bench-air"}`,
	"revoke-correction":   `{` + commandHead + `,"sensor":"bench-air"}`,
	"replaced":            `{` + commandHead + `,"sensor":"bench-air","serial":"B 20"}`,
	"scale-verifications": `{` + commandHead + `,"scale":"scale-1","weight_class":"M1","loads":[{"weights_g":[100],"readings_g":[100,100,100]}]}`,
}

func TestEveryVerbIsRead(t *testing.T) {
	for _, row := range request.Table() {
		if !row.MQTT {
			continue
		}
		verb := row.Verb
		payload, ok := commandExamples[verb]
		if !ok {
			t.Errorf("no example of %s", verb)
			continue
		}
		c, err := ParseCommand(verb, []byte(payload))
		if err != nil {
			t.Errorf("%s: %v", verb, err)
			continue
		}
		if c.Change.Verb() != verb || c.Ref != "r1" || !c.At.Equal(time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC)) || c.Hash == "" {
			t.Errorf("%s: %+v", verb, c)
		}
	}
	for _, verb := range []string{"prints", "defects"} {
		report, err := ParseCommand(verb, []byte(commandExamples[verb]))
		later, _ := ParseCommand(verb, []byte(strings.Replace(commandExamples[verb], "08:00:00", "08:01:00", 1)))
		if err != nil || report.fresh() != request.MaxLate || report.Hash != later.Hash {
			t.Errorf("%s: %+v, %v: want a report that may come late, and one hash for each time", verb, report, err)
		}
		switch r := report.Change.(type) {
		case request.CountPrints:
			if r.At == nil || !r.At.Equal(report.At) {
				t.Errorf("prints are counted at %v", r.At)
			}
		case request.CountDefects:
			if r.At == nil || !r.At.Equal(report.At) || *r.Add != -1 {
				t.Errorf("defects: %+v", r)
			}
		}
	}
	c, err := ParseCommand("record", []byte(commandExamples["record"]))
	if r, ok := c.Change.(request.RecordMix); err != nil || !ok || len(r.Components) != 2 || r.Components[1].Can != "h1" {
		t.Errorf("record: %+v, %v", c, err)
	}
}

func TestBadCommandsAreRefused(t *testing.T) {
	for _, c := range []struct {
		name, verb, payload string
		status              int
		says                string
	}{
		{"empty", "load", ``, 422, "not JSON"},
		{"a list", "load", `[]`, 422, "not a JSON object"},
		{"null", "load", `null`, 422, "not a JSON object"},
		{"torn", "load", `{"ref":"r1"`, 422, "not JSON"},
		{"two", "load", `{"ref":"r1"}{}`, 422, "more after"},
		{"no ref", "load", `{"at":"2026-06-12T08:00:00Z","batch":"b","press":"p"}`, 422, `"ref" is missing`},
		{"empty ref", "load", `{"ref":"","at":"2026-06-12T08:00:00Z"}`, 422, "1 to 128"},
		{"number for ref", "load", `{"ref":7,"at":"2026-06-12T08:00:00Z"}`, 422, "not a text"},
		{"no time", "load", `{"ref":"r1","batch":"b","press":"p"}`, 422, `"at" is missing`},
		{"time without zone", "load", `{"ref":"r1","at":"2026-06-12T08:00:00","batch":"b","press":"p"}`, 422, `"at" is no time`},
		{"null time", "load", `{"ref":"r1","at":null,"batch":"b","press":"p"}`, 422, `"at" is no time`},
		{"unknown field", "load", `{` + commandHead + `,"batch":"b","press":"p","colour":"red"}`, 422, `unknown field "colour"`},
		{"unknown inside", "record", `{` + commandHead + `,"ink":"i","mixed_at":"2026-06-12T07:00:00Z","components":[{"part":"ink","grams":85}]}`, 422, `unknown field "grams"`},
		{"other case", "load", `{` + commandHead + `,"Batch":"b","press":"p"}`, 422, `unknown field "Batch"`},
		{"twice", "load", `{` + commandHead + `,"batch":"b","batch":"c","press":"p"}`, 422, `"batch" twice`},
		{"no batch", "load", `{` + commandHead + `,"press":"p"}`, 422, `"batch" is missing`},
		{"no press", "load", `{` + commandHead + `,"batch":"b"}`, 422, `"press" is missing`},
		{"wrong type", "load", `{` + commandHead + `,"batch":1,"press":"p"}`, 422, "load: "},
		{"number too large", "mix", `{` + commandHead + `,"scale":"s","ink":"i","ink_g":1e999}`, 422, "mix: "},
		{"too deep", "record", `{` + commandHead + `,"components":` + strings.Repeat("[", 20) + strings.Repeat("]", 20) + `}`, 422, "deep"},
		{"too long", "load", `{"ref":"` + strings.Repeat("x", topics.MaxCommandBytes) + `"}`, 413, "at most"},
		{"bytes", "load", "{\"ref\":\"\xff\"}", 422, "UTF-8"},
		{"unknown verb", "paint", `{` + commandHead + `}`, 404, "no verb"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseCommand(c.verb, []byte(c.payload))
			var r *request.Refusal
			if !errors.As(err, &r) || r.Kind.Status() != c.status || !strings.Contains(r.Error(), c.says) {
				t.Errorf("%+v, error %v; want %d with %q", got, err, c.status, c.says)
			}
			if got.Change != nil {
				t.Errorf("a refused command has a change: %+v", got)
			}
		})
	}
}

// A repetition may have a new time and another order; it is still the same command.
func TestHashIsOfTheChange(t *testing.T) {
	hash := func(verb, payload string) string {
		c, err := ParseCommand(verb, []byte(payload))
		if err != nil {
			t.Fatal(err)
		}
		return c.Hash
	}
	a := hash("load", `{"ref":"r1","at":"2026-06-12T08:00:00Z","batch":"b","press":"p"}`)
	if b := hash("load", `{"press":"p", "batch":"b", "at":"2026-06-12T08:00:30Z","ref":"r1","replace":false}`); a != b {
		t.Error("the same command has two hashes")
	}
	if b := hash("load", `{"ref":"r1","at":"2026-06-12T08:00:00Z","batch":"c","press":"p"}`); a == b {
		t.Error("two commands have one hash")
	}
	if hash("good", `{`+commandHead+`,"batch":"b"}`) == hash("unload", `{`+commandHead+`,"batch":"b"}`) {
		t.Error("two verbs have one hash")
	}
}

func FuzzParseCommand(f *testing.F) {
	for verb, payload := range commandExamples {
		f.Add(verb, []byte(payload))
	}
	f.Add("load", []byte(`{"ref":"r","at":"2026-06-12T08:00:00Z","batch":null}`))
	f.Add("verifications", []byte(`{}`))
	f.Fuzz(func(t *testing.T, verb string, payload []byte) {
		c, err := ParseCommand(verb, payload)
		if err != nil {
			var r *request.Refusal
			if !errors.As(err, &r) || r.Kind.Status() < 400 || r.Detail == "" {
				t.Fatalf("error %v is no refusal with a reason", err)
			}
			if c.Change != nil {
				t.Fatal("a refused command has a change")
			}
			return
		}
		if c.Change.Verb() != verb || c.Ref == "" || c.At.IsZero() && !strings.Contains(string(payload), "0001-01-01") || c.Hash == "" {
			t.Fatalf("taken: %+v", c)
		}
		// What was taken says the same when it is written out and read again.
		body, err := json.Marshal(c.Change)
		if err != nil {
			t.Fatal(err)
		}
		var fields map[string]any
		if err := json.Unmarshal(body, &fields); err != nil {
			t.Fatal(err)
		}
		fields["ref"], fields["at"] = c.Ref, time.Unix(0, 0).UTC()
		again, err := json.Marshal(fields)
		if err != nil {
			t.Fatal(err)
		}
		if len(again) > topics.MaxCommandBytes {
			return
		}
		d, err := ParseCommand(verb, again)
		if err != nil || d.Hash != c.Hash {
			t.Fatalf("read again: %+v, %v; want hash %s", d, err, c.Hash)
		}
	})
}
