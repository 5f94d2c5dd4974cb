package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"potlifed/daemon/peers"
	"potlifed/model/quality"
)

// runR runs a script in a folder and returns the lines that it prints: a name and figures.
func runR(t *testing.T, folder, script string, packages ...string) map[string][]float64 {
	t.Helper()
	r := exec.Command(peers.R(t, packages...), "--vanilla", "-e", `say <- function(name, x) cat(name, sprintf("%.15g", x), "\n")`+"\n"+script)
	r.Dir = folder
	var errs strings.Builder
	r.Stderr = &errs
	out, err := r.Output()
	if err != nil {
		t.Fatalf("R: %v\n%s", err, errs.String())
	}
	said := map[string][]float64{}
	for line := range strings.Lines(string(out)) {
		fields := strings.Fields(line)
		for _, f := range fields[1:] {
			x, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatalf("R printed %q", line)
			}
			said[fields[0]] = append(said[fields[0]], x)
		}
	}
	return said
}

// agree compares figures with those of R.
func agree(t *testing.T, what string, got, want []float64, relative float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: got %v, R has %v", what, got, want)
	}
	for i := range got {
		if !(math.Abs(got[i]-want[i]) <= relative*math.Max(1e-3, math.Abs(want[i]))) {
			t.Errorf("%s, figure %d: got %.12g, R has %.12g", what, i+1, got[i], want[i])
		}
	}
}

func interval(i quality.Interval) []float64 { return []float64{i.Low, i.High} }

func TestIntervalsAreThoseOfR(t *testing.T) {
	p := []float64{0.21, 0.0004, 0.012, 0.9, 0.033, 0.0021, 0.012, 0.4}
	script := `
p <- c(0.21, 0.0004, 0.012, 0.9, 0.033, 0.0021, 0.012, 0.4)
say("BH", p.adjust(p, "BH"))
for (k in c(0, 1, 7, 40, 1234)) {
  say(paste0("garwood", k), poisson.test(k)$conf.int)
  say(paste0("garwood90-", k), poisson.test(k, conf.level=0.9)$conf.int)
  say(paste0("clopper", k), binom.test(k, 2000)$conf.int)
}
`
	r := runR(t, t.TempDir(), script)
	agree(t, "Benjamini-Hochberg", quality.FalseDiscoveries(p), r["BH"], 1e-12)
	for _, k := range []float64{0, 1, 7, 40, 1234} {
		name := fmt.Sprint(k)
		agree(t, "Garwood of "+name, interval(quality.CountInterval(k, 0.95)), r["garwood"+name], 1e-8)
		agree(t, "Garwood of "+name+" at 90 %", interval(quality.CountInterval(k, 0.9)), r["garwood90-"+name], 1e-8)
		agree(t, "Clopper-Pearson of "+name, interval(quality.ShareInterval(k, 2000, 0.95)), r["clopper"+name], 1e-8)
	}
}

// counted draws a model with two strata and 15 clusters, and writes it for R.
func counted(t *testing.T, folder string) quality.Model {
	t.Helper()
	random := rand.New(rand.NewPCG(5, 6))
	m := quality.Model{Columns: []string{"a", "b"}}
	var csv strings.Builder
	csv.WriteString("a,b,n,y,stratum,cluster\n")
	for cluster := range 15 {
		shift := 0.5 * random.NormFloat64()
		level := random.NormFloat64()
		for range 4 + random.IntN(8) {
			a, b, n, stratum := level+0.3*random.NormFloat64(), 20+2*random.Float64(), 50+random.IntN(100), random.IntN(2)
			mean := float64(n) * math.Exp(-6+0.3*a+0.1*b+0.3*float64(stratum)+shift)
			y := 0
			for product, limit := random.Float64(), math.Exp(-mean); product > limit; product *= random.Float64() {
				y++
			}
			m.X = append(m.X, a, b)
			m.Count, m.Exposure = append(m.Count, float64(y)), append(m.Exposure, float64(n))
			m.Stratum, m.Cluster = append(m.Stratum, stratum), append(m.Cluster, cluster)
			fmt.Fprintf(&csv, "%.17g,%.17g,%d,%d,%d,%d\n", a, b, n, y, stratum, cluster)
		}
	}
	if err := os.WriteFile(filepath.Join(folder, "counts.csv"), []byte(csv.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return m
}

// The bias-reduced errors are computed in R from whole matrices, by their definition: R's sandwich
// has none for regressions of counts.
const regressions = `
library(sandwich)
d <- read.csv("counts.csv"); d$s <- factor(d$stratum)
exact <- glm.control(epsilon=1e-14, maxit=100)
reduced <- function(f) {
  w <- weights(f, "working"); r <- (d$y - fitted(f) * if (family(f)$family == "binomial") d$n else 1)
  X <- as.matrix(d[, c("a", "b")])
  for (s in levels(d$s)) { i <- d$s == s; X[i, ] <- sweep(X[i, ], 2, colSums(X[i, ] * w[i]) / sum(w[i])) }
  M <- solve(t(X) %*% (X * w)); meat <- 0
  for (g in unique(d$cluster)) {
    i <- d$cluster == g; Z <- X[i, , drop=FALSE] * sqrt(w[i])
    e <- eigen(diag(sum(i)) - Z %*% M %*% t(Z), symmetric=TRUE)
    s <- t(Z) %*% (e$vectors %*% diag(e$values^-0.5) %*% t(e$vectors)) %*% (r[i] / sqrt(w[i]))
    meat <- meat + s %*% t(s)
  }
  sqrt(diag(M %*% meat %*% M))
}
report <- function(name, f, quasi) {
  k <- c("a", "b"); say(paste0(name, "-beta"), coef(f)[k]); say(paste0(name, "-se"), sqrt(diag(vcov(f)))[k])
  say(paste0(name, "-intercepts"), c(coef(f)["s0"], coef(f)["s1"])); say(paste0(name, "-intercept-ses"), sqrt(diag(vcov(f)))[c("s0", "s1")])
  say(paste0(name, "-fit"), c(deviance(f), logLik(f), df.residual(f), sum(residuals(f, "pearson")^2)))
  say(paste0(name, "-sandwich"), sqrt(diag(vcovCL(f, cluster=d$cluster)))[k])
  say(paste0(name, "-quasi"), sqrt(diag(vcov(quasi)))[k]); say(paste0(name, "-reduced"), reduced(f))
}
report("poisson", glm(y ~ 0 + s + a + b + offset(log(n)), poisson, d, control=exact), glm(y ~ 0 + s + a + b + offset(log(n)), quasipoisson, d, control=exact))
report("logistic", glm(cbind(y, n - y) ~ 0 + s + a + b, binomial, d, control=exact), glm(cbind(y, n - y) ~ 0 + s + a + b, quasibinomial, d, control=exact))
`

func TestRegressionsAreThoseOfR(t *testing.T) {
	folder := t.TempDir()
	m := counted(t, folder)
	r := runR(t, folder, regressions, "sandwich")
	for name, family := range map[string]quality.Family{"poisson": quality.Poisson, "logistic": quality.Binomial} {
		m.Family = family
		f, err := m.Fit()
		if err != nil {
			t.Fatal(err)
		}
		agree(t, name+" effects", f.Beta, r[name+"-beta"], 1e-7)
		agree(t, name+" errors", f.SE, r[name+"-se"], 1e-7)
		one, oneSE := f.Intercept(0)
		two, twoSE := f.Intercept(1)
		agree(t, name+" intercepts", []float64{one, two}, r[name+"-intercepts"], 1e-7)
		agree(t, name+" errors of intercepts", []float64{oneSE, twoSE}, r[name+"-intercept-ses"], 1e-7)
		agree(t, name+" fit", []float64{f.Deviance, f.LogLik(), f.DF, f.Pearson}, r[name+"-fit"], 1e-8)
		agree(t, name+" sandwich", f.Sandwich().SE, r[name+"-sandwich"], 1e-7)
		agree(t, name+" quasi-likelihood", f.Quasi().SE, r[name+"-quasi"], 1e-7)
		agree(t, name+" bias-reduced", f.BiasReduced().SE, r[name+"-reduced"], 1e-7)
		if !(f.Dispersion > 1) {
			t.Errorf("%s: dispersion %v: quasi-likelihood is not tested", name, f.Dispersion)
		}
	}
}
