package mqtt

import (
	"flag"
	"testing"

	"go.uber.org/goleak"
)

var update = flag.Bool("update", false, "rewrite the goldens")

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
