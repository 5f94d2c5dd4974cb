package mqtt

import (
	"flag"
	"potlifed/daemon/mqtt/mqtttest"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the goldens")

func TestMain(m *testing.M) { mqtttest.VerifyNoLeaks(m) }
