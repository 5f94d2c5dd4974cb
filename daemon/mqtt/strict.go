package mqtt

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

const maxDepth = 8 // levels of objects and lists in a command

// strict returns an error for JSON that two readers could understand differently: anything
// but one object, a key given twice, a key that is not lower case (Go's decoder would take
// `Batch` for `batch`), text that is not UTF-8.
func strict(data []byte) error {
	if !utf8.Valid(data) {
		return errors.New("not UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber() // the decoder of the field checks the range
	first, err := d.Token()
	if err != nil {
		return fmt.Errorf("not JSON: %w", eof(err))
	}
	if first != json.Delim('{') {
		return errors.New("not a JSON object")
	}
	if err := strictValue(d, first, 1); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("more after the object")
	}
	return nil
}

// strictValue reads the rest of a value whose first token was read.
func strictValue(d *json.Decoder, first json.Token, depth int) error {
	open, ok := first.(json.Delim)
	if !ok {
		return nil
	}
	if depth > maxDepth {
		return fmt.Errorf("nested more than %d deep", maxDepth)
	}
	keys := map[string]bool{}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return fmt.Errorf("not JSON: %w", eof(err))
		}
		if open == '{' {
			key, _ := token.(string)
			switch {
			case keys[key]:
				return fmt.Errorf("%q twice", key)
			case !plainKey(key):
				return fmt.Errorf("unknown field %q", key)
			}
			keys[key] = true
			if token, err = d.Token(); err != nil {
				return fmt.Errorf("not JSON: %w", eof(err))
			}
		}
		if err := strictValue(d, token, depth+1); err != nil {
			return err
		}
	}
	if _, err := d.Token(); err != nil {
		return fmt.Errorf("not JSON: %w", eof(err))
	}
	return nil
}

// plainKey reports a key of lower-case letters, digits and underscores, as all of ours
// are.
func plainKey(key string) bool {
	for _, c := range []byte(key) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '_' {
			return false
		}
	}
	return key != ""
}

func eof(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}
