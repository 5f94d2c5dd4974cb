package chart

// edge is a side of a box: inside tells which places are on its inner side, cross returns where a
// line from an inner to an outer place, or back, meets it.
type edge struct {
	inside func(vec) bool
	cross  func(a, b vec) vec
}

func (b box) edges() [4]edge {
	atX := func(x float64) func(a, b vec) vec {
		return func(a, b vec) vec { return vec{x, a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)} }
	}
	atY := func(y float64) func(a, b vec) vec {
		return func(a, b vec) vec { return vec{a.x + (b.x-a.x)*(y-a.y)/(b.y-a.y), y} }
	}
	return [4]edge{
		{func(p vec) bool { return p.x >= b.min.x }, atX(b.min.x)},
		{func(p vec) bool { return p.x <= b.max.x }, atX(b.max.x)},
		{func(p vec) bool { return p.y >= b.min.y }, atY(b.min.y)},
		{func(p vec) bool { return p.y <= b.max.y }, atY(b.max.y)},
	}
}

// clipLine returns the parts of a line that lie in the box.
func (b box) clipLine(points []vec) [][]vec {
	parts := [][]vec{points}
	for _, e := range b.edges() {
		var next [][]vec
		for _, part := range parts {
			next = append(next, e.cutLine(part)...)
		}
		parts = next
	}
	return parts
}

func (e edge) cutLine(points []vec) (parts [][]vec) {
	var part []vec
	end := func() {
		if len(part) > 1 {
			parts = append(parts, part)
		}
		part = nil
	}
	for i, p := range points {
		in := e.inside(p)
		if i > 0 && in != e.inside(points[i-1]) {
			part = append(part, e.cross(points[i-1], p))
		}
		if in {
			part = append(part, p)
		} else {
			end()
		}
	}
	end()
	return parts
}

// clipArea returns a polygon as far as it lies in the box (Sutherland and Hodgman, 1974). What it
// leaves of a polygon that is not convex may be joined along an edge.
func (b box) clipArea(points []vec) []vec {
	for _, e := range b.edges() {
		var next []vec
		for i, p := range points {
			before := points[(i+len(points)-1)%len(points)]
			in := e.inside(p)
			if in != e.inside(before) {
				next = append(next, e.cross(before, p))
			}
			if in {
				next = append(next, p)
			}
		}
		points = next
	}
	return points
}
