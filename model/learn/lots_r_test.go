package learn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"potlifed/daemon/peers"
)

// survregWithLots is the same model in R: the effects of lots have a normal penalty with a fixed
// variance, which survreg takes as a ridge. (Its own frailty terms are not for parametric models.)
const survregWithLots = `
library(survival)
d <- read.csv("rows.csv")
x <- model.matrix(~ 0 + factor(d$lot, levels = paste0("L", 0:5)))
a <- x[,1]; b <- x[,2]; c <- x[,3]; e <- x[,4]; g <- x[,5]; h <- x[,6]
fit <- survreg(Surv(from, to, type = "interval2") ~ ridge(a, b, c, e, g, h, theta = 1/0.15^2, scale = FALSE), data = d,
  dist = "lognormal", control = list(maxiter = 500, rel.tolerance = 1e-13, outer.max = 100))
cat(sprintf("%.15g", c(coef(fit), fit$scale)))
`

// The most likely life, scatter and effects of lots, at a given spread between lots, are those of R's
// survreg: exact ends, intervals and batches that were good.
func TestLotsAreThoseOfR(t *testing.T) {
	r := peers.R(t, "survival")
	random := rand.New(rand.NewPCG(seedLots, 2))
	var rows strings.Builder
	rows.WriteString("from,to,lot\n")
	var records []Record
	for i := range 48 {
		lot := i % 6
		end := 7 * math.Exp(0.15*math.Sin(float64(3*lot))+0.1*random.NormFloat64())
		one := Record{Kind: Ended, To: steady(20, 50, end), Facts: Facts{InkLot: fmt.Sprint("L", lot)}}
		switch i % 4 {
		case 1:
			one.Kind, one.From, one.To = Between, steady(20, 50, end-0.4), steady(20, 50, end+0.7)
			fmt.Fprintf(&rows, "%.17g,%.17g,L%d\n", end-0.4, end+0.7, lot)
		case 2:
			one.Kind, one.To = Alive, steady(20, 50, 0.9*end)
			fmt.Fprintf(&rows, "%.17g,NA,L%d\n", 0.9*end, lot)
		default:
			fmt.Fprintf(&rows, "%.17g,%.17g,L%d\n", end, end, lot)
		}
		records = append(records, one)
	}
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "rows.csv"), []byte(rows.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	script := exec.Command(r, "--vanilla", "-e", survregWithLots)
	script.Dir = folder
	out, err := script.Output()
	if err != nil {
		t.Fatalf("R: %v\n%s", err, out)
	}
	var want [8]float64
	for i, field := range strings.Fields(string(out)) {
		if _, err := fmt.Sscan(field, &want[min(i, len(want)-1)]); err != nil {
			t.Fatalf("R printed %q", out)
		}
	}

	f := prepare(Pair{Sheet: usualInk(t), Records: records}, true)
	f.findLots()
	f.free = []int{pLife, pLnSigma}
	f.lots[0].spread = 0.15
	n := f.placeLots(len(f.free))
	low, high := make([]float64, n), make([]float64, n)
	for i := range low {
		low[i], high[i] = math.Inf(-1), math.Inf(1)
	}
	o := minimise(func(x, gradient []float64, hessian *mat.SymDense) float64 {
		clear(gradient)
		hessian.Zero()
		value := f.addTo(x, gradient, hessian)
		for i := len(f.free); i < n; i++ {
			value += 0.5 * x[i] * x[i]
			gradient[i] += x[i]
			hessian.SetSym(i, i, hessian.At(i, i)+1)
		}
		return value
	}, make([]float64, n), low, high)
	if !o.converged {
		t.Fatal("the fit did not settle")
	}
	at := f.at(o.x)
	near(t, "ln life", at[pLife], want[0], 1e-6)
	near(t, "sigma", math.Exp(at[pLnSigma]), want[7], 1e-5)
	for lot := range 6 {
		near(t, fmt.Sprint("effect of lot ", lot), 0.15*o.x[f.lots[0].first+lot], want[1+lot], 1e-5)
	}
}
