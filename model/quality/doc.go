// Package quality says what the rate of print defects has to do with the air and the mix:
// exact intervals for counts, regression with prints as exposure and with standard errors that
// allow for clusters, dose curves, thresholds, corrections for many comparisons, and control
// charts. It is pure: values in, values out.
//
// A rate is defects for each print. Effects are ratios: 1.12 means 12 % more defects. Everything
// here describes how defects go together with conditions. It does not show what causes them.
package quality
