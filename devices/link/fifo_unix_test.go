//go:build unix

package link

import "syscall"

func mkfifo(name string) error { return syscall.Mkfifo(name, 0o600) }
