package mqtttest

import (
	"fmt"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// VerifyNoLeaks runs the tests and fails if a goroutine is left. It waits up to Patience for
// goroutines that are about to end: the broker's library does not wait for one of its own when
// it is closed, which a busy machine can delay.
func VerifyNoLeaks(m *testing.M) {
	code := m.Run()
	if code != 0 {
		os.Exit(code)
	}
	var err error
	for began := time.Now(); time.Since(began) < Patience; {
		if err = goleak.Find(); err == nil {
			os.Exit(0)
		}
	}
	fmt.Fprintln(os.Stderr, "goroutines are left:", err)
	os.Exit(1)
}
