package quality

// Factor is a condition of prints.
type Factor int

// The factors, in the order in which they are shown.
const (
	VapourDensity    Factor = iota // g/m³
	RelativeHumidity               // %
	Temperature                    // °C
	SpentLife                      // share of the pot life, 1 at the nominal end
	Thinner                        // % of ink and hardener
	RatioError                     // % that ink to hardener is off the recipe, without its sign
	factorCount
)

// factors is the table of all factors. A step is the change for which an effect is given. An effect is
// adjusted for the factors that go with its own and could be taken for it. It is not adjusted
// for the spent life when it may work through it: humid air also uses up pot life. A twin is another
// figure for nearly the same: it is never adjusted for, and is only named where the two rose and fell
// together.
var factors = [factorCount]struct {
	name   string
	step   float64
	least  float64 // the smallest spread between the lowest and the highest tenth that can tell something
	adjust []Factor
	twin   []Factor
}{
	VapourDensity:    {"vapour_density_g_m3", 1, 1, []Factor{Temperature}, []Factor{RelativeHumidity}},
	RelativeHumidity: {"humidity_pct", 5, 5, []Factor{Temperature}, []Factor{VapourDensity}},
	Temperature:      {"temperature_c", 1, 1, []Factor{VapourDensity}, []Factor{RelativeHumidity}},
	SpentLife:        {"spent", 0.1, 0.1, []Factor{VapourDensity, Temperature}, nil},
	Thinner:          {"thinner_pct", 1, 1, []Factor{VapourDensity, Temperature}, nil},
	RatioError:       {"ratio_error_pct", 1, 1, []Factor{VapourDensity, Temperature}, nil},
}

// String returns the factor's name, with its unit, as in files and answers.
func (f Factor) String() string { return factors[f].name }

// Step returns the change of the factor for which effects are given, in the factor's unit.
func (f Factor) Step() float64 { return factors[f].step }

// Conditions holds a value for each factor; NaN where it is not known.
type Conditions [factorCount]float64
