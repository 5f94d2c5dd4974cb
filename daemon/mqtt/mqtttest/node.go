package mqtttest

import (
	"net"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Behaviour is what a [Node] does.
type Behaviour struct {
	// Silent accepts connections and says nothing.
	Silent bool
	// Mute takes connections and subscriptions and drops messages without an answer.
	Mute bool
	// Parted delivers messages and acknowledges none, as a node that has lost the others of its cluster.
	Parted bool
	// PerFilter is what each filter above QoS 0 costs.
	PerFilter time.Duration
	// Rename returns the name under which a topic is delivered; nil for its own.
	Rename func(topic string) string
}

// Node is a stand-in for a node of a cluster, for what a real one does not do on demand.
type Node struct {
	does    Behaviour
	listen  net.Listener
	running sync.WaitGroup

	mu       sync.Mutex // guards what follows
	accepted int
	conns    map[net.Conn]bool
}

// StartNode starts a node on a free port, and ends it with the test.
func StartNode(t testing.TB, does Behaviour) *Node {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	n := &Node{does: does, listen: l, conns: map[net.Conn]bool{}}
	n.running.Go(n.serve)
	t.Cleanup(n.Stop)
	return n
}

// URL returns mqtt://HOST:PORT.
func (n *Node) URL() string { return "mqtt://" + n.listen.Addr().String() }

// Accepted returns how many connections were opened.
func (n *Node) Accepted() int {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.accepted
}

// Stop closes every connection and refuses new ones. It may be called more than once.
func (n *Node) Stop() {
	_ = n.listen.Close()
	n.mu.Lock()
	for c := range n.conns {
		_ = c.Close()
	}
	n.mu.Unlock()
	n.running.Wait()
}

func (n *Node) serve() {
	for {
		c, err := n.listen.Accept()
		if err != nil {
			return
		}
		n.mu.Lock()
		n.accepted++
		n.conns[c] = true
		n.mu.Unlock()
		n.running.Go(func() { n.speak(c) })
	}
}

// speak answers one client. It delivers each message to its publisher, whatever they subscribed to.
func (n *Node) speak(c net.Conn) {
	defer func() { _ = c.Close() }()
	for {
		packet, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		if n.does.Silent {
			continue
		}
		for _, answer := range n.answers(packet) {
			if answer.Write(c) != nil {
				return
			}
		}
	}
}

func (n *Node) answers(packet packets.ControlPacket) []packets.ControlPacket {
	switch p := packet.(type) {
	case *packets.ConnectPacket:
		return []packets.ControlPacket{packets.NewControlPacket(packets.Connack)}
	case *packets.PingreqPacket:
		return []packets.ControlPacket{packets.NewControlPacket(packets.Pingresp)}
	case *packets.SubscribePacket:
		for _, qos := range p.Qoss {
			if qos > 0 {
				time.Sleep(n.does.PerFilter)
			}
		}
		granted := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
		granted.MessageID, granted.ReturnCodes = p.MessageID, p.Qoss
		return []packets.ControlPacket{granted}
	case *packets.UnsubscribePacket:
		done := packets.NewControlPacket(packets.Unsuback).(*packets.UnsubackPacket)
		done.MessageID = p.MessageID
		return []packets.ControlPacket{done}
	case *packets.PublishPacket:
		if n.does.Mute {
			return nil
		}
		back := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		if back.TopicName, back.Payload = p.TopicName, p.Payload; n.does.Rename != nil {
			back.TopicName = n.does.Rename(p.TopicName)
		}
		if p.Qos == 0 || n.does.Parted {
			return []packets.ControlPacket{back}
		}
		done := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
		done.MessageID = p.MessageID
		return []packets.ControlPacket{done, back}
	}
	return nil
}
