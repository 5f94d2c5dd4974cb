//go:build !linux

package simulate

import "testing"

// waiting: there is no pseudo-terminal to ask.
func waiting(*testing.T, *Scale) int { return 0 }
