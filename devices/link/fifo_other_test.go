//go:build !unix

package link

import "errors"

func mkfifo(string) error { return errors.ErrUnsupported }
