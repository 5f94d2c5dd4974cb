package health

import "math"

// partHours is the length of a part of the day.
const partHours = 3

// Part is what the readings of a sensor were like in a part of a day.
type Part struct {
	N        int     `json:"n,omitempty" doc:"number of readings"`
	MeanPct  float64 `json:"mean_pct,omitempty" doc:"mean relative humidity in %"`
	BesideN  int     `json:"beside_n,omitempty" doc:"number of readings that were compared with the neighbour"`
	ApartPct float64 `json:"apart_pct,omitempty" doc:"mean difference to the neighbour in % relative humidity"`
}

// Parts are the parts of a day from midnight on, on the shop's clock.
type Parts [24 / partHours]Part

// fewestDays is how many of the days must have a part of the day, as a share, for it to be compared.
const fewestDays = 0.5

// since returns by how much the difference to the neighbour has changed between some days and others, in % RH: the
// mean over the parts of the day that both have. scatter is the standard deviation of the former days. Days of an older version
// have no parts; then their means are compared.
func since(then, now []Day) (pct, scatter float64) {
	then, now = inSameHours(then, now)
	usual, off := median(aparts(then)), []float64{}
	for _, x := range aparts(then) {
		off = append(off, math.Abs(x-usual))
	}
	const perMAD = 1.4826 // a normal distribution's standard deviation over its median absolute deviation
	return median(aparts(now)) - usual, perMAD * median(off)
}

func aparts(days []Day) (list []float64) {
	for _, d := range days {
		list = append(list, d.ApartPct)
	}
	return list
}

// inSameHours returns days whose ApartPct is as if each had the same parts of the day: from each difference the usual
// one of its part is taken, and the mean of these usual ones is added. The days are returned as they are
// where one has no parts, or where no part is common to both.
func inSameHours(then, now []Day) (thenAlike, nowAlike []Day) {
	var common []int
	usual, mean := Parts{}, 0.0
	for p := range usual {
		before, after := partsBeside(then, p), partsBeside(now, p)
		if enough(before, then) && enough(after, now) {
			common = append(common, p)
			usual[p].ApartPct = median(before)
			mean += usual[p].ApartPct
		}
	}
	if len(common) == 0 {
		return then, now
	}
	mean /= float64(len(common))
	alike := func(days []Day) (list []Day) {
		for _, d := range days {
			sum, n := 0.0, 0
			for _, p := range common {
				if d.Parts[p].BesideN > 0 {
					sum, n = sum+d.Parts[p].ApartPct-usual[p].ApartPct, n+1
				}
			}
			if n > 0 {
				d.ApartPct = mean + sum/float64(n)
				list = append(list, d)
			}
		}
		return list
	}
	return alike(then), alike(now)
}

// partsBeside returns the differences to the neighbour in one part of the day, of the days that have it.
func partsBeside(days []Day, part int) (list []float64) {
	for _, d := range days {
		if d.Parts[part].BesideN > 0 {
			list = append(list, d.Parts[part].ApartPct)
		}
	}
	return list
}

func enough(list []float64, days []Day) bool {
	return len(list) > 0 && float64(len(list)) >= fewestDays*float64(len(days))
}

// weekly returns the mean humidity of each of the newest n whole weeks, the last one ending with the last day, of the
// parts of the day that all of them have; nil where there are fewer, or where they have no part in common. Weeks with a day of an
// older version, which has no parts, are compared as a whole.
func weekly(days []Day, n int) []float64 {
	if len(days) < 7*n {
		return nil
	}
	days = days[len(days)-7*n:]
	whole := false
	for _, d := range days {
		whole = whole || d.Parts == Parts{}
	}
	weeks, common := make([]float64, n), 0
	if whole {
		for i, d := range days {
			weeks[i/7] += d.MeanPct / 7
		}
		return weeks
	}
	for p := range (Parts{}) {
		means, counts := make([]float64, n), make([]float64, n)
		for i, d := range days {
			if part := d.Parts[p]; part.N > 0 {
				means[i/7], counts[i/7] = means[i/7]+part.MeanPct, counts[i/7]+1
			}
		}
		all := true
		for _, count := range counts {
			all = all && count >= 7*fewestDays
		}
		if !all {
			continue
		}
		common++
		for i := range weeks {
			weeks[i] += means[i] / counts[i]
		}
	}
	if common == 0 {
		return nil
	}
	for i := range weeks {
		weeks[i] /= float64(common)
	}
	return weeks
}
