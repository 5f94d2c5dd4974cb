package learn

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// onDisplay is what a scale has on its display while it sends one line.
type onDisplay struct {
	n                int // the number of the line
	g, grossG, tareG float64
	moving, over     bool
}

// display is one course of work as a scale shows it: the empty pan with a flicker of the last digit, a
// cup, tare, a pour, a load beyond the range, the pour's rest, and the cup off, which leaves the tare
// with a minus.
func display() (course []onDisplay) {
	tare := 0.0
	add := func(grossG float64, moving, over bool) {
		grossG = math.Round(grossG*100) / 100
		course = append(course, onDisplay{len(course) + 1, math.Round(100*(grossG-tare)) / 100, grossG, tare, moving, over})
	}
	rest := func(g float64, lines int) {
		for i := range lines {
			add(g+[]float64{0, 0, 0.01, 0, 0, -0.01, 0, 0}[i%8], false, false)
		}
	}
	move := func(from, to float64, lines int) {
		for k := 1; k <= lines; k++ {
			x := float64(k) / float64(lines)
			add(from+(to-from)*x+0.37*math.Sin(float64(7*k)), true, false)
		}
	}
	rest(0, 8)
	move(0, 31.4, 3)
	add(31.4, true, false)
	rest(31.4, 7)
	tare = 31.4
	rest(31.4, 5)
	move(31.4, 96, 11)
	add(700, true, false)
	add(0, true, true)
	add(0, true, true)
	add(96, true, false)
	move(96, 1250.25, 16)
	add(1250.3, true, false)
	rest(1250.25, 9)
	move(1250.25, 0, 3)
	rest(0, 9)
	return course
}

// form is a made-up way to write a line. Its line is empty where the scale sends none.
type form struct {
	name     string
	line     func(s onDisplay) string
	unit     string // "g" or "g, not sent"
	decimals int
	want     string // right, or unsure where nothing better is known
}

func (f form) dialect() dialect {
	d := dialect{name: f.name, ending: "\r\n", unit: f.unit, decimals: f.decimals}
	for _, s := range display() {
		for line := range strings.SplitSeq(f.line(s), "\n") {
			answer, stable := math.NaN(), "-"
			if mark, rest, ok := strings.Cut(line, "\x00"); ok { // "-\x00" begins a line without a weight
				line = mark + rest
			} else if !s.over {
				answer, stable = math.Round(s.g*math.Pow10(f.decimals))/math.Pow10(f.decimals), either(s.moving, "m", "s")
			}
			d.lines, d.answers, d.stable = append(d.lines, line), append(d.answers, answer), append(d.stable, stable)
		}
	}
	return d
}

// none marks a line without a weight.
func none(line string) string { return "\x00" + line }

// minus is the sign of a weight.
func (s onDisplay) minus(below, above string) string {
	return either(math.Round(s.g*100) < 0, below, above)
}

// abs is the weight without a sign, in a width, with two decimals.
func (s onDisplay) abs(format string) string { return fmt.Sprintf(format, math.Abs(s.g)) }

func thousands(text, mark string) string {
	whole, fraction, _ := strings.Cut(text, ".")
	for at := len(whole) - 3; at > 0 && isDigit(whole[at-1]); at -= 3 {
		whole = whole[:at] + mark + whole[at:]
	}
	if fraction == "" {
		return whole
	}
	return whole + either(mark == ".", ",", ".") + fraction
}

func reversed(text string) string {
	b := []byte(text)
	for i, j := 0, len(b)-1; i < j; i, j = i+1, j-1 {
		b[i], b[j] = b[j], b[i]
	}
	return string(b)
}

func (s onDisplay) orOver(line, over string) string {
	if s.over {
		return over
	}
	return line
}

var forms = []form{
	{"plus and minus as words", func(s onDisplay) string {
		return s.orOver(either(s.moving, "RUN ", "STILL ")+s.minus("minus", "plus")+s.abs(" %8.2f")+" g", "ERROR 3")
	}, "g", 2, "right"},
	{"padded by dots", func(s onDisplay) string {
		return s.orOver(strings.ReplaceAll(fmt.Sprintf("%10.2f", s.g), " ", ".")+" g"+either(s.moving, "", "!"), "..........g")
	}, "g", 2, "right"},
	{"padded by stars", func(s onDisplay) string {
		return s.orOver("W:"+strings.ReplaceAll(fmt.Sprintf("%10.2f", s.g), " ", "*")+"g"+either(s.moving, " ~", ""), "W:**overload")
	}, "g", 2, "right"},
	{"padded by underlines", func(s onDisplay) string {
		return s.orOver(strings.ReplaceAll(fmt.Sprintf("%10.2f", s.g), " ", "_")+"_g", "__________OVER")
	}, "g", 2, "right"},
	{"comma between thousands", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%10s g %s", thousands(fmt.Sprintf("%.2f", s.g), ","), either(s.moving, "U", "S")), "---- g U")
	}, "g", 2, "right"},
	{"point between thousands", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%10s g %s", thousands(fmt.Sprintf("%.2f", s.g), "."), either(s.moving, "U", "S")), "---- g U")
	}, "g", 2, "right"},
	{"blank between thousands", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%s%10s g", either(s.moving, "*", " "), thousands(fmt.Sprintf("%.0f", s.g), " ")), "*   ------ g")
	}, "g", 0, "right"},
	{"whole grams with a comma between thousands", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%10s g", thousands(fmt.Sprintf("%.0f", s.g), ",")), "OVERLOAD")
	}, "g", 0, "right"},
	{"last digit in brackets", func(s onDisplay) string {
		text := fmt.Sprintf("%8.2f", s.g)
		return s.orOver(text[:len(text)-1]+"["+text[len(text)-1:]+"] g"+either(s.moving, " D", " S"), "   High")
	}, "g", 2, "right"},
	{"exponent", func(s onDisplay) string { return s.orOver(fmt.Sprintf("%+.5E g", s.g), "+9.99999E+99 g") }, "g", 2, "right"},
	{"digits from last to first", func(s onDisplay) string {
		return s.orOver("="+reversed(s.abs("%07.2f"))+s.minus("-", ""), "=99.9999")
	}, "g, not sent", 2, "right"},
	{"hexadecimal status of bits", func(s onDisplay) string {
		bits := 0x40
		for bit, is := range []bool{s.moving, s.g == 0, s.tareG > 0, s.over, math.Round(s.g*100) < 0} {
			if is {
				bits |= 1 << bit
			}
		}
		if s.over {
			s.g = 0
		}
		return fmt.Sprintf("%02X %s", bits, s.abs("%09.2f"))
	}, "g, not sent", 2, "right"},
	{"status letter for motion and net", func(s onDisplay) string {
		letter := string("ABCD"[map[bool]int{true: 1}[s.moving]+map[bool]int{true: 2}[s.tareG > 0]])
		return s.orOver(letter+fmt.Sprintf("%+09.2f", s.g)+"g", "X+999999.9g")
	}, "g", 2, "right"},
	{"nines on overload", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%+010.2f g", s.g), "+999999.99 g")
	}, "g", 2, "right"},
	{"nines on overload, star in place of the sign", func(s onDisplay) string {
		return s.orOver(either(s.moving, "w", "W")+fmt.Sprintf("%+08d", int(math.Round(s.g*100))), "w*9999999")
	}, "g, not sent", 2, "right"},
	{"brackets when below zero", func(s onDisplay) string {
		return s.orOver(s.minus("(", " ")+s.abs("%9.2f")+s.minus(")", " ")+"g", "  EEEEEEE  g")
	}, "g", 2, "right"},
	{"gross, tare and net without a label", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%8.2f;%8.2f;%8.2f;g;%d", s.grossG, s.tareG, s.g, map[bool]int{true: 1}[s.moving]), ";;;g;9")
	}, "g", 2, "right"},
	{"ticket of several lines", func(s onDisplay) string {
		return none("*** BENCH ***") + "\n" + none(fmt.Sprintf("Nr %05d", s.n)) + "\n" + none(fmt.Sprintf("G %9.2f g", s.grossG)) + "\n" + none(fmt.Sprintf("T %9.2f g", s.tareG)) + "\n" + s.orOver(fmt.Sprintf("N %9.2f g", s.g), "N  OVER")
	}, "g", 2, "right"},
	{"two platforms in turn", func(s onDisplay) string {
		return none(fmt.Sprintf("CH2 %9.2f g", 0.0)) + "\n" + s.orOver(fmt.Sprintf("CH1 %9.2f g", s.g), "CH1  OVER")
	}, "g", 2, "right"},
	{"label of another alphabet", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("stabilis\xe9 \xb1 %9.2f g %s", s.g, either(s.moving, "NON", "OUI")), "surcharg\xe9")
	}, "g", 2, "right"},
	{"address and status glued to the digits", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("07%s%07d%s", s.minus("-", "+"), int(math.Round(math.Abs(s.g)*100)), either(s.moving, "04", "00")), "07+999999908")
	}, "g, not sent", 2, ""},
	{"json", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf(`{"id":3,"weight":%.2f,"unit":"g","stable":%v}`, s.g, !s.moving), `{"id":3,"weight":null,"unit":"g","stable":false}`)
	}, "g", 2, "right"},
	{"unit in another case while moving", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%9.2f %s", s.g, either(s.moving, "G", "g")), "    OL   G")
	}, "g", 2, "right"},
	{"pounds and ounces", func(s onDisplay) string {
		oz := math.Abs(s.g) / 28.349523125
		return s.orOver(s.minus("-", " ")+fmt.Sprintf("%d lb %8.5f oz", int(oz/16), math.Mod(oz, 16)), "----")
	}, "oz", 2, "right"},
	{"grams and ounces", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%9.2f g %9.3f oz %s", s.g, s.g/28.349523125, either(s.moving, "?", "")), "OVER")
	}, "g", 2, "right"},
	{"rate beside the weight", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%9.2f g %7.2f g/s", s.g, 0.3*math.Sin(float64(3*s.n))*map[bool]float64{true: 30}[s.moving]), "OVER")
	}, "g", 2, "right"},
	{"decimal checksum", func(s onDisplay) string {
		body := s.orOver(fmt.Sprintf("%s,%+09.2f,g,", either(s.moving, "1", "0"), s.g), "9,+OVERLOAD,g,")
		sum := 0
		for _, c := range []byte(body) {
			sum += int(c)
		}
		return fmt.Sprintf("%s%03d", body, sum%256)
	}, "g", 2, "right"},
	{"time, temperature and battery", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("14:%02d:%02d T=%.1fC B=%d%% W=%.2fg %s", 58+s.n/60, s.n%60, 21.5+float64(s.n%3)/10, 88-s.n/40, s.g, either(s.moving, "", "*")), "14:59:00 T=21.5C B=87% W=ERR")
	}, "g", 2, "right"},
	{"frozen while moving", func(s onDisplay) string {
		return s.orOver(either(s.moving, none("--------"), fmt.Sprintf("%9.2f g", s.g)), none("  ERR"))
	}, "g", 2, "right"},
	{"start of heading and acknowledgement", func(s onDisplay) string {
		return s.orOver("\x01\x06"+either(s.moving, "M", "S")+fmt.Sprintf("%9.2f", s.g)+"g", "\x01\x15")
	}, "g", 2, "right"},
	{"separators of records", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("G\x1f%.2f\x1fT\x1f%.2f\x1fN\x1f%.2f\x1fg\x1f%s", s.grossG, s.tareG, s.g, either(s.moving, "0", "1")), "\x1fE")
	}, "g", 2, "right"},
	{"piece count first", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%6d PCS %9.2f g %6.3f g/PC", int(s.g/2.5), s.g, 2.5), "  OVER")
	}, "g", 2, "right"},
	{"highest weight beside it", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("PEAK %8.2f ACT %8.2f g", math.Min(1250.3, 40*float64(s.n)), s.g), "PEAK OVER")
	}, "g", 2, "right"},
	{"target and difference", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%8.2f g  (%+.2f of 1250.00)", s.g, s.g-1250), "  ^^^^^ g")
	}, "g", 2, "right"},
	{"minutes of work in front", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%d.%02d min: %.2f g", s.n/60, s.n%60, s.g), "0.00 min: H g")
	}, "g", 2, "right"},
	{"mark of motion inside the number", func(s onDisplay) string {
		return s.orOver(strings.Replace(fmt.Sprintf("%9.2f g", s.g), ".", either(s.moving, ",", "."), 1), " OL g")
	}, "g", 2, "right"},
	{"flag glued behind whole grams", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%06d%s", int(math.Round(math.Max(s.g, 0)*100)), either(s.moving, "1", "0")), "9999999")
	}, "g, not sent", 2, ""},
	{"stable letter behind a slash, long words", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("Gewicht netto: %9.2f Gramm / %s", s.g, either(s.moving, "unruhig", "ruhig")), "Gewicht netto: Ueberlast / unruhig")
	}, "g", 2, "right"},
	{"comma, sign behind and unit in front", func(s onDisplay) string {
		return s.orOver("[g] "+strings.Replace(s.abs("%8.2f"), ".", ",", 1)+s.minus("-", "+")+either(s.moving, " ...", ""), "[g] >>>>>>>>")
	}, "g", 2, "right"},
	{"kilograms with six digits and no mark, code for motion", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("01;%s;%07d;kg", either(s.moving, "10", "00"), int(math.Round(math.Abs(s.g)*100))), "01;80;9999999;kg")
	}, "g, not sent", 2, ""},
	{"csv with empty fields", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf(",,%s,%.2f,g,,", either(s.moving, "DYN", ""), s.g), ",,OL,,g,,")
	}, "g", 2, "right"},
	{"quoted csv", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf(`"%d","%.2f","g","%s"`, 1700000000+s.n, s.g, either(s.moving, "N", "Y")), `"1700000099","","g","E"`)
	}, "g", 2, "right"},
	{"net and gross change places", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%s%9.2fg %s%9.2fg", "N", s.g, "B", s.grossG), "N  ^^^^^^g B  ^^^^^^g")
	}, "g", 2, "right"},
	{"hash while moving, equal sign at rest", func(s onDisplay) string {
		return s.orOver(either(s.moving, "#", "=")+fmt.Sprintf("%+10.2f G", s.g), "#  OVER    G")
	}, "g", 2, ""},
	{"status word of four bits as text", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%s%s%s0 %9.2f g", either(s.moving, "1", "0"), either(s.g == 0, "1", "0"), either(s.tareG > 0, "1", "0"), s.g), "1001 --------- g")
	}, "g", 2, "right"},
	{"two lines: status, then weight", func(s onDisplay) string {
		return none(either(s.moving, "MOTION", "STABLE")) + "\n" + s.orOver(fmt.Sprintf("%9.2f g", s.g), "ERR")
	}, "g", 2, "right"},
	{"ticket with date and signature", func(s onDisplay) string {
		return none(fmt.Sprintf("14.03.26 %02d:%02d", 9+s.n/60, s.n%60)) + "\n" + none(fmt.Sprintf("Brutto %8.2f g", s.grossG)) + "\n" + none(fmt.Sprintf("Tara   %8.2f g", s.tareG)) + "\n" + s.orOver(fmt.Sprintf("Netto  %8.2f g", s.g), "Netto  -------- g") + "\n" + none("................")
	}, "g", 2, "right"},
	{"crc in four digits", func(s onDisplay) string {
		body := s.orOver(fmt.Sprintf("$W%+09.2fg%s*", s.g, either(s.moving, "m", "s")), "$WOVERLOAD*")
		crc := uint16(0xffff)
		for _, c := range []byte(body) {
			crc ^= uint16(c)
			for range 8 {
				if crc&1 != 0 {
					crc = crc>>1 ^ 0xa001
				} else {
					crc >>= 1
				}
			}
		}
		return fmt.Sprintf("%s%04X", body, crc)
	}, "g", 2, "right"},
	{"lower case hexadecimal status behind", func(s onDisplay) string {
		bits := 0
		for bit, is := range []bool{s.over, false, s.tareG > 0, false, false, false, !s.moving, s.g == 0} {
			if is {
				bits |= 1 << bit
			}
		}
		return s.orOver(fmt.Sprintf("%+09.2f g", s.g), "+0000.00 g") + fmt.Sprintf(" <%02x>", bits)
	}, "g", 2, ""},
	{"status character of bits in front", func(s onDisplay) string {
		bits := 0x40
		for bit, is := range []bool{s.tareG > 0, math.Round(s.g*100) < 0, s.over, s.moving} {
			if is {
				bits |= 1 << bit
			}
		}
		if s.over {
			s.g = 0
		}
		return fmt.Sprintf("%c%07d", bits, int(math.Round(math.Abs(s.g)*100)))
	}, "g, not sent", 2, ""},
	{"grains of a scale that counts in fives", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%7d mg%s", int(math.Round(s.g*200))*5, either(s.moving, " ~", "  ")), "  -----  mg ~")
	}, "g", 2, "right"},
	{"word for zero", func(s onDisplay) string {
		if s.g == 0 && !s.moving {
			return s.orOver(none("ZERO"), "OVER")
		}
		return s.orOver(fmt.Sprintf("%9.2f g %s", s.g, either(s.moving, "", "ok")), "OVER")
	}, "g", 2, "right"},
	{"line of the operator between", func(s onDisplay) string {
		extra := ""
		if s.n%9 == 0 {
			extra = none("Op 12 Kurt 7.5 g test") + "\n"
		}
		return extra + s.orOver(fmt.Sprintf("%9.2f g %s", s.g, either(s.moving, "m", "")), "-OL-")
	}, "g", 2, ""},
	{"carat digits", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%10.2f ct", s.g*5), "OL ct")
	}, "ct", 2, ""},
	{"arrow for stability in Latin-1", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%s%9.2f g", either(s.moving, "\xb1", "\xbb"), s.g), "\xb1  ****** g")
	}, "g", 2, "right"},
	{"temperature in degrees with the sign of Latin-1", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%9.2f g  21.%d\xb0C %s", s.g, s.n%3, either(s.moving, "M", "")), "----")
	}, "g", 2, "right"},
	{"kilograms with five decimals", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%+9.5f kg %s", s.g/1000, either(s.moving, "*", "")), "  OVER   kg")
	}, "g", 2, "right"},
	{"number repeated by way of check", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%.2f/%.2f g", s.g, s.g), "-/- g")
	}, "g", 2, "right"},
	{"bar graph in front", func(s onDisplay) string {
		n := int(math.Max(0, s.g) / 130)
		return s.orOver("|"+strings.Repeat("#", n)+strings.Repeat("-", 10-n)+"|"+fmt.Sprintf(" %9.2f g %s", s.g, either(s.moving, "~", "")), "|##########|  ERR")
	}, "g", 2, "right"},
	{"time with date and thousandths", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("2026-03-14T12:%02d:%02d.%03dZ %9.2f g %s", s.n/60, s.n%60, 37*s.n%1000, s.g, either(s.moving, "D", "S")), "2026-03-14T12:59:00.000Z OL")
	}, "g", 2, "right"},
	{"cursor home before each line", func(s onDisplay) string {
		return s.orOver("\x1b[H"+fmt.Sprintf("%9.2f g %s", s.g, either(s.moving, "", "OK")), "\x1b[H OVERLOAD")
	}, "g", 2, "right"},
	{"unit only at rest", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("N %s%9.2f%s", s.minus("-", "+"), math.Abs(s.g), either(s.moving, "", "  g")), "H")
	}, "g", 2, "right"},
	{"temperature on a line of its own", func(s onDisplay) string {
		extra := ""
		if s.n%6 == 0 {
			extra = none(fmt.Sprintf("TEMP %.1f", 21.5+float64(s.n%4)/10)) + "\n"
		}
		return extra + s.orOver(fmt.Sprintf("W %9.2f g", s.g), "W  HHHHH g")
	}, "g", 2, "right"},
	{"pieces for a while", func(s onDisplay) string {
		if s.n > 20 && s.n < 25 {
			return none(fmt.Sprintf("%s%9d pcs", either(s.moving, "US", "ST"), int(s.g/2.5)))
		}
		return s.orOver(fmt.Sprintf("%s%9.2f g", either(s.moving, "US", "ST"), s.g), "OL  g")
	}, "g", 2, "right"},
	{"one decimal less above a hundred", func(s onDisplay) string {
		if math.Abs(s.g) >= 100 {
			s.g = math.Round(s.g*10) / 10
			return s.orOver(fmt.Sprintf("%9.1f g %s", s.g, either(s.moving, "", "S")), "OL")
		}
		return s.orOver(fmt.Sprintf("%9.2f g %s", s.g, either(s.moving, "", "S")), "OL")
	}, "g", 1, ""},
	{"capacity and division in each line", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("Max 3000 g d=0.01 g;%8.2f;%d", s.g, map[bool]int{true: 1}[s.moving]), "Max 3000 g d=0.01 g;OVER;1")
	}, "g", 2, ""},
	{"word of motion with the unit", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%9.2f %s", s.g, either(s.moving, "g?", "g!")), "???? g?")
	}, "g", 2, "right"},
	{"minus behind a space, with noughts", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("A%s %07.2f g%s", s.minus("-", " "), math.Abs(s.g), either(s.moving, "", " O")), "A  ------- g")
	}, "g", 2, "right"},
	{"weight twice, shown and in high resolution", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%9.1f g %10.3f", math.Round(s.g*10)/10, s.g+0.002*math.Sin(float64(s.n))), "OL g OL")
	}, "g", 1, "right"},
	{"code of three digits and an unlabelled number", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%03d %+.2f", 100+map[bool]int{true: 4}[s.moving]+map[bool]int{true: 20}[s.tareG > 0], s.g), "199 +0.00")
	}, "g, not sent", 2, ""},
}

// No form is read wrongly, and those that a pattern can express are read.
func TestForms(t *testing.T) {
	for _, f := range slices.Concat(forms, signForms) {
		d := f.dialect()
		if frame := FrameOf(d.sent()); frame != "8N1" {
			t.Errorf("%s: frame %q", f.name, frame)
		}
		outcome, p, faults := d.judged()
		t.Logf("%s: %s: %s, %v %q", f.name, outcome, p.Line, p.Certainty, p.Reasons)
		if outcome == "wrong" || f.want != "" && outcome != f.want {
			t.Errorf("%s: %s, want %s: %s, %v %q: %s", f.name, outcome, f.want, p.Line, p.Certainty, p.Reasons, strings.Join(faults[:min(3, len(faults))], "; "))
		}
	}
}
