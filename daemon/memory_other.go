//go:build !linux

package daemon

import "context"

// boundMemory and giveBackMemory do nothing where the service is not meant to run for years.
func boundMemory() {}

func (s *service) giveBackMemory(context.Context) error { return nil }
