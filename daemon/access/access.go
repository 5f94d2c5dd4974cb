// Package access keeps who may change what: the shop's PIN, the devices paired with it,
// and access tokens. Everything secret is kept as a hash, in one file beside the
// journal that is replaced as a whole; the service and the commands pin and token share
// it, and what one of them changes counts for the other at once.
//
// Whoever can write the data directory can let himself in; the file guards against
// everybody else. A file that cannot be read or understood lets nobody in.
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

// What a caller may branch on. What the file is to blame for is a [*FileError]; every
// other error is in what was asked for.
var (
	ErrNoPIN    = errors.New("no PIN is set; set one on the bench's computer: potlifed pin --config FILE")
	ErrWrongPIN = errors.New("this is not the shop's PIN")
	ErrUnknown  = errors.New("this is no valid session or token; it was revoked, has run out, or never was one")
	ErrFull     = fmt.Errorf("%d devices are paired already; unpair one first", mostSessions)
)

// FileError is a fault of the file, by which nobody gets in.
type FileError struct {
	Path string
	Err  error
}

func (e *FileError) Error() string { return fmt.Sprintf("access: %s: %v", e.Path, e.Err) }

// Unwrap returns the cause.
func (e *FileError) Unwrap() error { return e.Err }

// Local is the place of a guess at the PIN that was made on the bench's own computer.
const Local = string(actor.Local)

// nameCharacters bounds the name of a device.
const nameCharacters = 40

// deviceName is the name a device gets, as people will read it, or what is wrong with
// it.
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
