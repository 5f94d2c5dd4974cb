package chart

import "math"

// Table is the data of one layer, for people who read figures rather than see them.
type Table struct {
	Caption string
	Head    []string
	Rows    [][]string
}

// Words are the headings of the tables that a figure cannot know.
type Words struct{ From, To, Low, High, What string }

// Tables returns the data of the figure: a table for each layer with a name, and for the spans.
// Values are as the axes format them. A gap has no row.
func (f Figure) Tables(w Words) []Table {
	var tables []Table
	for _, p := range f.Panels {
		for _, l := range p.Layers {
			t := Table{}
			switch l := l.(type) {
			case Line:
				t = Table{Caption: l.Name, Head: []string{f.X.Label, p.Y.Label}}
				for _, v := range l.Points {
					if !math.IsNaN(v.Y) {
						t.Rows = append(t.Rows, []string{f.X.format(v.X), p.Y.format(v.Y)})
					}
				}
			case Band:
				t = Table{Caption: l.Name, Head: []string{f.X.Label, w.Low, w.High}}
				for _, v := range l.Points {
					if !math.IsNaN(v.Low) && !math.IsNaN(v.High) {
						t.Rows = append(t.Rows, []string{f.X.format(v.X), p.Y.format(v.Low), p.Y.format(v.High)})
					}
				}
			case Marks:
				t = Table{Caption: l.Name, Head: []string{w.What, f.X.Label, p.Y.Label, w.Low, w.High}}
				for _, v := range l.Points {
					row := []string{v.Text, f.X.format(v.X), p.Y.format(v.Y), "", ""}
					if v.Low < v.High {
						row[3], row[4] = p.Y.format(v.Low), p.Y.format(v.High)
					}
					t.Rows = append(t.Rows, row)
				}
			case Spans:
				t = Table{Caption: l.Name, Head: []string{p.Y.Label, w.What, w.From, w.To}}
				for _, v := range l.Spans {
					t.Rows = append(t.Rows, []string{p.Rows[v.Row], v.Text, f.X.format(v.From), f.X.format(v.To)})
				}
			}
			if t.Caption != "" && len(t.Rows) > 0 {
				tables = append(tables, t)
			}
		}
	}
	return tables
}
