package quota

import (
	"fmt"
	"net"
	"testing"

	"pgregory.net/rapid"
)

// TestOneAddressDoesNotShutOutOthers fills the quota of one address.
func TestOneAddressDoesNotShutOutOthers(t *testing.T) {
	q := New(10, 3)
	for n := range 5 {
		if _, ok := q.Take(fmt.Sprintf("192.0.2.1:%d", n)); ok != (n < 3) {
			t.Errorf("the %dth of one address: %v", n, ok)
		}
	}
	for n := range 4 { // one device has a network of 64 bits of addresses
		if _, ok := q.Take(fmt.Sprintf("[2001:db8::%d]:80", n+1)); ok != (n < 3) {
			t.Errorf("the %dth of one network: %v", n, ok)
		}
	}
	give, ok := q.Take("192.0.2.2:1")
	if !ok {
		t.Fatal("another address is shut out")
	}
	for range 3 {
		if _, ok := q.Take("127.0.0.1:1"); !ok {
			t.Fatal("this computer is shut out")
		}
	}
	if _, ok := q.Take("192.0.2.3:1"); ok {
		t.Error("an eleventh")
	}
	give()
	give()
	if _, ok := q.Take("192.0.2.3:1"); !ok {
		t.Error("no room after one was given back")
	}
	if _, ok := q.Take("192.0.2.4:1"); ok {
		t.Error("one that was given back twice counts twice")
	}
}

// TestQuotaHolds takes and gives in any order: the bounds hold, and what was given is there again.
func TestQuotaHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		most, each := rapid.IntRange(1, 12).Draw(t, "most"), rapid.IntRange(1, 5).Draw(t, "each")
		q := New(most, each)
		type one struct {
			give func()
			from string
		}
		var held []one
		by := map[string]int{}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			if len(held) > 0 && rapid.Bool().Draw(t, "give") {
				i := rapid.IntRange(0, len(held)-1).Draw(t, "which")
				held[i].give()
				by[held[i].from]--
				held = append(held[:i], held[i+1:]...)
				continue
			}
			from := rapid.SampledFrom([]string{"192.0.2.1", "192.0.2.2", "::1", "2001:db8::1"}).Draw(t, "from")
			give, ok := q.Take(net.JoinHostPort(from, "99"))
			if want := len(held) < most && (from == "::1" || by[from] < each); ok != want {
				t.Fatalf("%d of %d held, %d of %d from %s: %v", len(held), most, by[from], each, from, ok)
			}
			if ok {
				held, by[from] = append(held, one{give, from}), by[from]+1
			}
		}
		if q.Len() != len(held) {
			t.Fatalf("%d are there, want %d", q.Len(), len(held))
		}
		for _, h := range held {
			h.give()
		}
		if q.Len() != 0 || len(q.by) != 0 {
			t.Fatalf("%d are left of none, %d addresses", q.Len(), len(q.by))
		}
	})
}

// TestListenerClosesWhatIsTooMuch opens connections beyond the quota.
func TestListenerClosesWhatIsTooMuch(t *testing.T) {
	inner, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer inner.Close()
	l := New(2, 1).Listen(inner)
	accepted := make(chan net.Conn, 10)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			accepted <- c
		}
	}()
	dial := func() net.Conn {
		t.Helper()
		c, err := net.Dial("tcp", inner.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	a, b, c := dial(), dial(), dial()
	defer a.Close()
	defer b.Close()
	defer c.Close()
	first := <-accepted
	<-accepted
	if _, err := c.Read(make([]byte, 1)); err == nil {
		t.Error("a third connection was not closed")
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	d := dial()
	defer d.Close()
	<-accepted
	inner.Close()
	<-ended
}
