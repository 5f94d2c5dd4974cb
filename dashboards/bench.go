package dashboards

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// panels is a shorthand for the lists below.
type panels = []cog.Builder[dashboard.Panel]

// riskSteps are the limits at which the lights change: see the reference, "Lights".
var riskSteps = []step{{lowest, "green"}, {0.05, "yellow"}, {0.25, "red"}}

// bench answers the question of the mixer and of who is responsible for a bench: which
// batches are open, and how long do they last?
func bench() *board {
	return &board{
		name: "bench", title: "Bench", from: "now-12h",
		about: "The open batches of a bench, the life left in each, and the air in which they stand.",
		rows: []row{
			{"Open batches", panels{
				lines(about{"Pot life left, expected", "Half of such batches last longer than this. The band is in the next panel.", "s", 12,
					nil, []query{{`potlife_batch_remaining_seconds{BENCH,bound="expected"} * on(bench, instance, batch) group_left(ink, press) potlife_batch_info{BENCH}`, "{{bench}} {{batch}} {{ink}} {{press}}"}}}),
				lines(about{"Pot life left, band", "A batch is safe to low: nine in ten last longer, and one in ten lasts longer than high. Plan with low.", "s", 12,
					nil, []query{{`potlife_batch_remaining_seconds{BENCH,bound!="expected"}`, "{{bench}} {{batch}} {{bound}}"}}}),
				lines(about{"Pot life spent", "1 is the nominal end of pot life.", "percentunit", 12,
					[]step{{lowest, "green"}, {1, "red"}}, []query{{`potlife_batch_spent_ratio{BENCH}`, "{{bench}} {{batch}}"}}}),
				lines(about{"Risk that a batch has gone off", "The lights change at 5 % and at 25 %.", "percentunit", 12,
					riskSteps, []query{{`potlife_batch_dead_risk_ratio{BENCH}`, "{{bench}} {{batch}}"}}}),
				rows(about{"What is in each batch", "Masses as weighed.", "massg", 12,
					nil, []query{{`potlife_batch_component_grams{BENCH}`, ""}}}),
				lines(about{"Batches that ended", "By ink and outcome, in the last 24 hours before each moment.", "short", 12,
					nil, []query{{`sum by (bench, ink, outcome) (increase(potlife_batches_closed_total{BENCH}[1d]))`, "{{bench}} {{ink}} {{outcome}}"}}}),
			}},
			{"Air", panels{
				lines(about{"Relative humidity", "By zone. Pot life is shorter in humid air.", "percentunit", 8,
					nil, []query{{`potlife_air_relative_humidity_ratio{BENCH}`, "{{bench}} {{zone}}"}}}),
				lines(about{"Temperature", "By zone.", "celsius", 8,
					nil, []query{{`potlife_air_temperature_celsius{BENCH}`, "{{bench}} {{zone}}"}}}),
				lines(about{"Water vapour", "Grams in a cubic metre of air: what the hardener can take up.", "congm3", 8,
					nil, []query{{`potlife_air_vapour_density_grams_per_cubic_meter{BENCH}`, "{{bench}} {{zone}}"}}}),
			}},
		},
	}
}

// pressFloor answers the question of the press floor: which press needs ink next?
func pressFloor() *board {
	return &board{
		name: "press-floor", title: "Press floor", from: "now-8h",
		about: "For each press: the ink that is loaded, how long it still prints, what its light says, prints and rejects. A light is an aid and no safety device.",
		rows: []row{
			{"Presses", panels{
				figures(about{"Pot life left, low", "How long the batch is safe: nine in ten last at least this long. No figure: no batch is loaded, or its life is not known.", "s", 12,
					[]step{{lowest, "red"}, {900, "yellow"}, {3600, "green"}}, []query{{`potlife_press_remaining_seconds{BENCH,bound="low"}`, "{{bench}} {{press}}"}}}),
				figures(about{"Risk that the ink has gone off", "The lights change at 5 % and at 25 %.", "percentunit", 12,
					riskSteps, []query{{`potlife_press_dead_risk_ratio{BENCH}`, "{{bench}} {{press}}"}}}),
				rows(about{"Ink and air of each press", "Which ink a press prints with, and the zone in whose air it stands.", "short", 12,
					nil, []query{{`potlife_press_info{BENCH}`, ""}}}),
				states(about{"What the lights said", "The meaning that each light showed.", "short", 12,
					nil, []query{{`potlife_light{BENCH} == 1`, "{{bench}} {{light}} {{meaning}}"}}}),
			}},
			{"Prints and rejects", panels{
				lines(about{"Prints an hour", "As reported for each press.", "short", 12,
					nil, []query{{`rate(potlife_prints_total{BENCH}[$__rate_interval]) * 3600`, "{{bench}} {{press}}"}}}),
				lines(about{"Rejects of 1000 prints", "All kinds together, over the last hour before each moment.", "short", 12,
					nil, []query{{`1000 * sum by (bench, press) (increase(potlife_defects_total{BENCH}[1h])) / (sum by (bench, press) (increase(potlife_prints_total{BENCH}[1h])) > 0)`, "{{bench}} {{press}}"}}}),
			}},
			{"Alarms", panels{
				rows(about{"Active alarms", "What is wrong now. The bench's page /help says what to do about each.", "short", 24,
					nil, []query{{`potlife_alarm_active{BENCH} == 1`, ""}}}),
			}},
		},
	}
}
