package weigh

import "testing"

func TestPouredIsADecimalFigure(t *testing.T) {
	for _, c := range []struct{ base, reading, want float64 }{
		{11.6, 81.4, 69.8}, {11.4, 29.6, 18.2}, {0.1, 0.3, 0.2}, {12, 72, 60}, {0, -0.3, -0.3}, {1.001, 1.004, 0.003},
	} {
		if got := NewPan(c.base).PouredG(c.reading); got != c.want {
			t.Errorf("%v from %v to %v, want %v", got, c.base, c.reading, c.want)
		}
	}
}
