package mqtt

import (
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Each test here keeps a trap of brokers inside a process from snapping again.

// A client numbers its packets by itself: that a message to it bears a number must not
// keep it from subscribing under the same one.
func TestSubscribingUnderANumberInUse(t *testing.T) {
	b := startBroker(t, true)
	runPublisher(t, newRoom(), b.Own(testSettings("")))
	w := newWitness(t, b.Addr())
	w.hears(t, "the batch", jsonHas(root+"batch/0612-1", "ink", "gloss-4"))
	c, err := guest(t, b, func(o *paho.ClientOptions) {
		o.SetAutoAckDisabled(true).SetDefaultPublishHandler(func(paho.Client, paho.Message) {})
	})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 8 {
		filter := []string{"potlife/#", root + "#"}[i%2]
		token := c.Subscribe(filter, 1, nil).(*paho.SubscribeToken)
		if !token.WaitTimeout(5*time.Second) || token.Error() != nil || token.Result()[filter] != 1 {
			t.Fatalf("subscription %d: %v, %v", i+1, token.Result(), token.Error())
		}
	}
}
