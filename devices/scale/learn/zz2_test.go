package learn

import (
	"fmt"
	"math"
	"strings"
)

func init() { zforms = append(zforms, zforms2...) }

func cm(s string) string { return strings.Replace(s, ".", ",", 1) }

var zforms2 = []zd{
	{name: "2 stx net etx bcc char", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		b := fmt.Sprintf("%s%s%07.1fg", mv(s, "?", "N"), sg(s, "-", " "), math.Abs(float64(s.c))/10)
		return "\x02" + b + "\x03" + string(rune(0x20|xorOf(b)&0x5f))
	}, noOver: true},
	{name: "2 eot ack bytes", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return "\x06" + fmt.Sprintf("%s %8s g", mv(s, "I", "S"), num(s.c, 1))
	}, noOver: true},
	{name: "2 german csv quoted decimal", unit: "kg", sent: true, dec: 4, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s;%s;kg;%s;%03d", mv(s, "unruhig", "ruhig"), cm(num(s.c, 4)), either(s.tare > 0, "netto", "brutto"), s.n+1)
	}, noOver: true},
	{name: "2 swedish words", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("Vikt: %8s g  %s", ou(s, "F\xd6R TUNG", "F\xd6R L\xc4TT", cm(num(s.c, 1))), mv(s, "r\xf6rlig", "stilla"))
	}},
	{name: "2 dutch", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("Gewicht %s%s g %s", sg(s, "-", "+"), cm(anum(s.c, 2)), mv(s, "(onrustig)", "(rustig)"))
	}, noOver: true},
	{name: "2 polish units apart tabs", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("Masa\t%s\tg\t%s", num(s.c, 2), mv(s, "niestab", "stab"))
	}, noOver: true},
	{name: "2 minutes seconds elapsed", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%3d.%d s %8s g %s", s.n/5, s.n%5*2, num(s.c, 1), mv(s, "D", ""))
	}, noOver: true},
	{name: "2 seconds counter decimals csv", unit: "g", dec: 2, told: false, f: func(s zs) string {
		return fmt.Sprintf("%.1f,%s", float64(s.n)*0.2, num(s.c, 2))
	}, noOver: true},
	{name: "2 temp csv", unit: "g", dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s,%.1f,%d", num(s.c, 2), 21.5+float64(s.n/7)*0.1, b2(s.moving, 1))
	}, noOver: true},
	{name: "2 adc raw, weight", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("ADC:%d W:%s g %s", 83456+s.gross*31+s.n%5, num(s.c, 1), mv(s, "~", "="))
	}, noOver: true},
	{name: "2 count pcs first", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%5d pcs %8s g %s", s.c/37, num(s.c, 1), mv(s, "*", " "))
	}, noOver: true},
	{name: "2 three kg values fixed glued", unit: "kg", sent: true, dec: 3, told: true, f: func(s zs) string {
		return fmt.Sprintf("G%07.3fT%07.3fN%s%07.3fkg%s", float64(max(s.gross, 0))/1000, float64(s.tare)/1000, sg(s, "-", " "), math.Abs(float64(s.c))/1000, mv(s, "M", " "))
	}, noOver: true},
	{name: "2 labels in brackets", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("[NET]%9s[g][%s]", num(s.c, 1), mv(s, "MOT", "STB"))
	}, noOver: true},
	{name: "2 unit first paren", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("(g) %9s %s", num(s.c, 2), mv(s, "...", "OK!"))
	}, noOver: true},
	{name: "2 sign far right of unit", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s g %s%s", anum(s.c, 1), sg(s, "-", "+"), mv(s, "M", "S"))
	}, noOver: true},
	{name: "2 sign far left then label", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s NET %8s g %s", sg(s, "-", "+"), anum(s.c, 1), mv(s, "M", "S"))
	}, noOver: true},
	{name: "2 sign between flag and comma", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s,%s,%06.1f,g", mv(s, "M", "S"), sg(s, "-", "+"), math.Abs(float64(s.c))/10)
	}, noOver: true},
	{name: "2 hash on stable, tare lines sometimes", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		l := fmt.Sprintf("%s %8s g", mv(s, " ", "#"), num(s.c, 1))
		if s.n == 13 {
			l += "\n\x00TARE SET"
		}
		return l
	}, noOver: true},
	{name: "2 tare ack and zero ack", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		l := fmt.Sprintf("SUI %s %8s g", mv(s, "?", " "), num(s.c, 2))
		if s.n == 0 {
			l = "\x00Z A\n" + l
		}
		if s.n == 15 {
			l = "\x00T A 12.30 g\n" + l
		}
		return l
	}, noOver: true},
	{name: "2 lcd mirror two lines", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%9s g  %s\n\x00B/G NET MODE %d", num(s.c, 1), mv(s, "   ", "(o)"), 1)
	}, noOver: true},
	{name: "2 menu status line in between", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("\x00STATUS=%s\nWEIGHT=%s g;%s", mv(s, "1", "0"), num(s.c, 1), mv(s, "1", "0"))
	}, noOver: true},
	{name: "2 sequence hex + crc", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		b := fmt.Sprintf(":%02X%s%07.2fg%s", (s.n+200)%256, sg(s, "-", "+"), math.Abs(float64(s.c))/100, mv(s, "1", "0"))
		return b + fmt.Sprintf("%02X", byte(-sumOf(b)))
	}, noOver: true},
	{name: "2 lower hex sum", unit: "kg", sent: true, dec: 3, told: true, f: func(s zs) string {
		b := fmt.Sprintf("w %8s kg %s ", num(s.c, 3), mv(s, "m", "s"))
		return b + fmt.Sprintf("%02x", byte(sumOf(b)))
	}, noOver: true},
	{name: "2 decimal sum no pad", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		b := fmt.Sprintf("%s%8s g", mv(s, "M", "S"), num(s.c, 1))
		return b + fmt.Sprintf(" *%d", sumOf(b)%100)
	}, noOver: true},
	{name: "2 luhn digit", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		b := fmt.Sprintf("%s%07.1f", sg(s, "-", "+"), math.Abs(float64(s.c))/10)
		return fmt.Sprintf("%s g %s %d", b, mv(s, "M", "S"), sumOf(b)%10)
	}, noOver: true},
	{name: "2 moving word only, unit kg capital", unit: "kg", sent: true, dec: 3, told: true, f: func(s zs) string {
		return fmt.Sprintf("%9s KG%s", num(s.c, 3), mv(s, " WAIT", ""))
	}, noOver: true},
	{name: "2 unit Kg mixed", unit: "kg", sent: true, dec: 3, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%07.3fKg %s", sg(s, "-", "+"), math.Abs(float64(s.c))/1000, mv(s, "N", "Y"))
	}, noOver: true},
	{name: "2 gr unit", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s gr. %s", fmt.Sprintf("%9s", num(s.c, 1)), mv(s, "inst.", "stab."))
	}, noOver: true},
	{name: "2 ozs", unit: "oz", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s ozs %s", num(s.c, 2), mv(s, "MOVE", "STILL"))
	}, noOver: true},
	{name: "2 lb: glued caps", unit: "lb", sent: true, dec: 3, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%6.3fLB%s", sg(s, "-", " "), math.Abs(float64(s.c))/1000, mv(s, "m", " "))
	}, noOver: true},
	{name: "2 unit in code digit", unit: "g", dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s,%07.1f,0,%s", sg(s, "-", "+"), math.Abs(float64(s.c))/10, mv(s, "1", "0"))
	}, noOver: true},
	{name: "2 trailing semicolons empties", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s;;;g;%s;;", num(s.c, 1), mv(s, "", "ST"))
	}, noOver: true},
	{name: "2 value between quotes", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("'%s' g %s", fmt.Sprintf("%8s", num(s.c, 1)), mv(s, "x", "o"))
	}, noOver: true},
	{name: "2 json nested neg stable", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf(`{"w":{"v":%s,"u":"g"},"t":%d,"ok":%s}`, num(s.c, 2), 1000+250*s.n, mv(s, "false", "true"))
	}, noOver: true},
	{name: "2 xml long", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf(`<W><N>%s</N><U>g</U><S>%s</S></W>`, num(s.c, 1), mv(s, "0", "1"))
	}, noOver: true},
	{name: "2 yaml lines", unit: "g", sent: true, dec: 1, told: false, f: func(s zs) string {
		return fmt.Sprintf("\x00- n: %d\nweight: %s g\n\x00stable: %s", s.n, num(s.c, 1), mv(s, "no", "yes"))
	}, noOver: true},
	{name: "2 at least ok err code", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return ou(s, "\x00ERR 03", "\x00ERR 04", fmt.Sprintf("%s %8s g", mv(s, "DYN", "STA"), num(s.c, 1)))
	}},
	{name: "2 overload as 8s", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%s g", mv(s, "*", " "), ou(s, "  8888.8", "  8888.8", fmt.Sprintf("%8s", num(s.c, 1))))
	}},
	{name: "2 overload repeated H behind", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s g %s", ou(s, "     0.0", "     0.0", fmt.Sprintf("%8s", num(s.c, 1))), ou(s, "H", "L", mv(s, "M", "S")))
	}},
	{name: "2 error E1 word", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s g%s", ou(s, "    -E1-", "    -E2-", fmt.Sprintf("%8s", num(s.c, 1))), mv(s, " ?", "  "))
	}},
	{name: "2 blank for overload", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s %8s g", mv(s, "U", "S"), ou(s, "", "", num(s.c, 1)))
	}},
	{name: "2 overload arrows", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s g %s", ou(s, ">>>>>>>>", "<<<<<<<<", fmt.Sprintf("%8s", num(s.c, 1))), mv(s, "U", "S"))
	}},
	{name: "2 fixed with G/N/T letter and kind of line", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%8s g %s", either(s.n%2 == 0, "N", "N"), num(s.c, 1), mv(s, "d", "s"))
	}, noOver: true},
	{name: "2 alternating G and N lines", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("\x00G%9s g %s\nN%9s g %s", num(s.gross, 1), mv(s, "d", "s"), num(s.c, 1), mv(s, "d", "s"))
	}, noOver: true},
	{name: "2 sqrt spaces between digits", unit: "g", sent: true, dec: 1, told: true, cap: 40000, f: func(s zs) string {
		return fmt.Sprintf("%s %s g", mv(s, "~", " "), fmt.Sprintf("%9s", thousands(num(s.c, 1), " ")))
	}, noOver: true},
	{name: "2 apostrophe", unit: "g", sent: true, dec: 1, told: true, cap: 40000, f: func(s zs) string {
		return fmt.Sprintf("%9s g%s", thousands(num(s.c, 1), "'"), mv(s, " *", ""))
	}, noOver: true},
	{name: "2 dot thousands comma decimal", unit: "g", sent: true, dec: 1, told: true, cap: 40000, f: func(s zs) string {
		return fmt.Sprintf("%9s g%s", strings.NewReplacer(".", ",", ",", ".").Replace(thousands(num(s.c, 1), ",")), mv(s, " *", ""))
	}, noOver: true},
	{name: "2 left aligned", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%-9sg %s", num(s.c, 1), mv(s, "*", "."))
	}, noOver: true},
	{name: "2 no unit status digit glued after", unit: "g", dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%07.1f%s", sg(s, "-", "+"), math.Abs(float64(s.c))/10, mv(s, " 1", " 0"))
	}, noOver: true},
	{name: "2 line noise lines", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		l := fmt.Sprintf("%s%8s g", mv(s, "U", "S"), num(s.c, 1))
		if s.n%17 == 11 {
			l = "\x00" + l[3:]
		}
		return l
	}, noOver: true},
	{name: "2 key with id number in label", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("CH1=%s g,CH2=0.0 g,%s", num(s.c, 1), mv(s, "U", "S"))
	}, noOver: true},
	{name: "2 dose target diff", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("SET 150.0 ACT %6s DIF %6s g %s", num(s.c, 1), num(1500-s.c, 1), mv(s, "M", "S"))
	}, noOver: true},
	{name: "2 remain", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s g (%5.1f%%) %s", num(s.c, 1), float64(s.c)/30, mv(s, "busy", "idle"))
	}, noOver: true},
	{name: "2 date dd.mm.yyyy", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("14.03.2031 09:%02d:%02d  %8s g %s", 5+s.n/60, s.n%60, num(s.c, 2), mv(s, "d", " "))
	}, noOver: true},
	{name: "2 julian no separators", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("310314%02d%02d %8s g %s", 9, s.n%60, num(s.c, 1), mv(s, "d", "s"))
	}, noOver: true},
	{name: "2 am pm", unit: "oz", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("03/14/31 9:%02dAM %7s oz %s", s.n/3, num(s.c, 2), mv(s, "*", ""))
	}, noOver: true},
	{name: "2 user name id", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("OP:MILL LOT:A17-3 %8s g %s", num(s.c, 1), mv(s, "U", "S"))
	}, noOver: true},
	{name: "2 status at distance, blank vs dot", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s g          %s", num(s.c, 1), mv(s, " ", "."))
	}, noOver: true},
	{name: "2 o vs degree", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s g %s", num(s.c, 1), mv(s, "o", "O"))
	}, noOver: true},
	{name: "2 stable count of dots", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s g %s", num(s.c, 1), mv(s, strings.Repeat(".", 1+s.n%3), "done"))
	}, noOver: true},
	{name: "2 minus as underscore/tilde", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%07.1f g %s", sg(s, "_", " "), math.Abs(float64(s.c))/10, mv(s, "M", "S"))
	}, noOver: true},
	{name: "2 minus word", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%s gram, %s", sg(s, "minus ", ""), anum(s.c, 1), mv(s, "unsteady", "steady"))
	}, noOver: true},
	{name: "2 complement", unit: "g", sent: true, dec: 1, told: false, f: func(s zs) string {
		v := s.c
		if v < 0 {
			v += 100000
		}
		return fmt.Sprintf("%07.1f g", float64(v)/10)
	}, noOver: true},
	{name: "2 hex weight", unit: "g", dec: 1, told: false, f: func(s zs) string {
		return fmt.Sprintf("W%06X", s.c&0xffffff)
	}, noOver: true},
	{name: "2 flags letters string", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s%s%s %8s g", mv(s, "-", "S"), either(s.tare > 0, "N", "-"), either(s.c == 0, "Z", "-"), num(s.c, 1))
	}, noOver: true},
	{name: "2 flags letters string 2", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s g [%s%s%s]", num(s.c, 1), mv(s, "M", "."), either(s.tare > 0, "T", "."), either(s.c == 0, "0", "."))
	}, noOver: true},
	{name: "2 capital unit G stable letter g moving", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return fmt.Sprintf("%8s%s", num(s.c, 1), mv(s, "g", "G"))
	}, noOver: true},
	{name: "2 star left right", unit: "g", sent: true, dec: 1, told: true, f: func(s zs) string {
		return mv(s, " ", "*") + fmt.Sprintf("%8s g", num(s.c, 1)) + mv(s, " ", "*")
	}, noOver: true},
	{name: "2 equal signs equals", unit: "g", sent: true, dec: 2, told: true, f: func(s zs) string {
		return fmt.Sprintf("%s= %s%s g", mv(s, "w", "W"), sg(s, "-", ""), anum(s.c, 2))
	}, noOver: true},
	{name: "2 addr ,status hex no unit", unit: "kg", dec: 3, told: true, f: func(s zs) string {
		return fmt.Sprintf("A01,%s%06.3f,%02X", sg(s, "-", "+"), math.Abs(float64(s.c))/1000, b2(s.moving, 1)|b2(s.tare > 0, 4)|0x80)
	}, noOver: true},
}
