// Package access stores who may change what: the shop's PIN, the paired devices and the access
// tokens. All secrets are stored as hashes, in one file beside the journal that is always
// replaced as a whole. The service and the commands pin and token share the file; a change by
// one of them is in effect for the other at once.
//
// A user who can write the data directory can give themselves access; the file protects against
// all others. If the file cannot be read or understood, nobody has access.
package access

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"potlifed/daemon/actor"
)

// Errors that a caller tests for. A fault of the file is a [*FileError]; every other error is
// about what was asked for.
var (
	ErrNoPIN    = errors.New("no PIN is set; set one on the bench's computer: potlifed pin --config FILE")
	ErrWrongPIN = errors.New("this is not the shop's PIN")
	ErrUnknown  = errors.New("this is no valid session or token; it was revoked, has run out, or never was one")
	ErrFull     = fmt.Errorf("%d devices are paired already; unpair one first", mostSessions)
)

// FileError is a fault of the file, because of which nobody has access.
type FileError struct {
	Path string
	Err  error
}

// Error returns the path of the file and the cause.
func (e *FileError) Error() string { return fmt.Sprintf("access: %s: %v", e.Path, e.Err) }

// Unwrap returns the cause.
func (e *FileError) Unwrap() error { return e.Err }

// Local is the origin of a PIN attempt that was made on the bench's own computer.
const Local = string(actor.Local)

// nameCharacters is the largest length of a device's name.
const nameCharacters = 40

// deviceName returns the name of a device as people will read it. The error says what is wrong
// with it.
func deviceName(name string) (string, error) {
	name = strings.TrimSpace(name)
	switch {
	case name == "":
		return "", errors.New("the device needs a name, such as the place where it stands")
	case !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }):
		return "", errors.New("the device's name has characters that cannot be shown")
	case utf8.RuneCountInString(name) > nameCharacters:
		return "", fmt.Errorf("the device's name is longer than %d characters", nameCharacters)
	}
	return name, free(name)
}

var idShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func tokenName(name string) error {
	if !idShape.MatchString(name) {
		return fmt.Errorf("a token's name has up to 32 of a-z, 0-9 and -, as camera-1; %q has not", name)
	}
	return free(name)
}

func free(name string) error {
	if actor.Reserved(name) {
		return fmt.Errorf("%q is a name that the bench itself uses; choose another", name)
	}
	return nil
}
