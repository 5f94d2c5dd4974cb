package dashboards

// engineering answers the question of the engineer: does the air cost prints? A chart shows
// that two things move together, not that one causes the other; `potlifed study` tests it.
func engineering() *board {
	return &board{
		name: "engineering", title: "Engineering", from: "now-7d",
		about: "Print defects beside humidity and the age of the ink. Things that move together need not cause each other: `potlifed study` tests the relation and says how sure it is.",
		rows: []row{
			{"Defects and air", panels{
				lines(about{"Rejects of 1000 prints, by kind", "Over the last hour before each moment.", "short", 12,
					nil, []query{{`1000 * sum by (bench, kind) (increase(potlife_defects_total{BENCH}[1h])) / on(bench) group_left() (sum by (bench) (increase(potlife_prints_total{BENCH}[1h])) > 0)`, "{{bench}} {{kind}}"}}}),
				lines(about{"Relative humidity at each press", "Of the zone in which the press stands.", "percentunit", 12,
					nil, []query{{`press:potlife_air_relative_humidity:ratio{BENCH}`, "{{bench}} {{press}}"}}}),
				lines(about{"Rejects of 1000 prints, by humidity", "Over the last day before each moment: all rejects that fell into a band of relative humidity, divided by the prints of the same band.", "short", 12,
					nil, []query{{`1000 * sum by (bench, humidity) (sum_over_time(press_humidity:potlife_defects:increase5m{BENCH}[1d])) / (sum by (bench, humidity) (sum_over_time(press_humidity:potlife_prints:increase5m{BENCH}[1d])) > 0)`, "{{bench}} {{humidity}}"}}}),
				lines(about{"Water vapour", "Grams in a cubic metre of air, by zone.", "congm3", 12,
					nil, []query{{`potlife_air_vapour_density_grams_per_cubic_meter{BENCH}`, "{{bench}} {{zone}}"}}}),
			}},
			{"Age of the ink", panels{
				lines(about{"Pot life spent of the loaded ink", "1 is the nominal end of pot life.", "percentunit", 12,
					[]step{{lowest, "green"}, {1, "red"}}, []query{{`potlife_batch_spent_ratio{BENCH} * on(bench, instance, batch) group_left(press) potlife_batch_info{BENCH,press!=""}`, "{{bench}} {{press}}"}}}),
				lines(about{"Pot life spent at the end, median", "Of the batches that ended in the last week before each moment, by outcome. Above 1: the ink lasted longer than expected.", "percentunit", 12,
					nil, []query{{`histogram_quantile(0.5, sum by (bench, outcome, le) (increase(potlife_batch_end_spent_ratio_bucket{BENCH}[7d])))`, "{{bench}} {{outcome}}"}}}),
				lines(about{"Age at the end, median", "Time from the first hardener to the end, by outcome.", "s", 12,
					nil, []query{{`histogram_quantile(0.5, sum by (bench, outcome, le) (increase(potlife_batch_end_age_seconds_bucket{BENCH}[7d])))`, "{{bench}} {{outcome}}"}}}),
				lines(about{"Batches that ended", "By outcome, in the last 24 hours before each moment.", "short", 12,
					nil, []query{{`sum by (bench, outcome) (increase(potlife_batches_closed_total{BENCH}[1d]))`, "{{bench}} {{outcome}}"}}}),
			}},
		},
	}
}

// maintenance answers the question of who looks after instruments and program: can the
// numbers be trusted?
func maintenance() *board {
	return &board{
		name: "maintenance", title: "Maintenance", from: "now-24h",
		about: "Health of sensors, scales, broker, journal and clock.",
		rows: []row{
			{"Sensors", panels{
				figures(about{"Sensor delivers", "1 while the sensor delivers readings.", "short", 12,
					[]step{{lowest, "red"}, {1, "green"}}, []query{{`potlife_sensor_up{BENCH}`, "{{bench}} {{sensor}}"}}}),
				figures(about{"Age of the newest reading", "A value is not current when its reading is old.", "s", 12,
					[]step{{lowest, "green"}, {60, "yellow"}, {600, "red"}}, []query{{`time() - potlife_sensor_last_reading_timestamp_seconds{BENCH}`, "{{bench}} {{sensor}}"}}}),
				states(about{"Condition of each sensor", "waiting, up, stale or down.", "short", 12,
					nil, []query{{`potlife_sensor_condition{BENCH} == 1`, "{{bench}} {{sensor}} {{condition}}"}}}),
				lines(about{"Faulty readings an hour", "error: no reading; rejected: physically impossible.", "short", 12,
					nil, []query{{`sum by (bench, sensor, result) (rate(potlife_sensor_reads_total{BENCH,result!="ok"}[$__rate_interval])) * 3600`, "{{bench}} {{sensor}} {{result}}"}}}),
				lines(about{"Humidity, each sensor", "Two sensors in one zone should agree within their accuracy.", "percentunit", 12,
					nil, []query{{`potlife_sensor_relative_humidity_ratio{BENCH}`, "{{bench}} {{zone}} {{sensor}}"}}}),
				lines(about{"Temperature, each sensor", "Two sensors in one zone should agree within their accuracy.", "celsius", 12,
					nil, []query{{`potlife_sensor_temperature_celsius{BENCH}`, "{{bench}} {{zone}} {{sensor}}"}}}),
				lines(about{"Duration of a reading", "A sensor that answers more and more slowly is about to fail.", "s", 12,
					nil, []query{{`potlife_sensor_read_duration_seconds{BENCH}`, "{{bench}} {{sensor}}"}}}),
			}},
			{"Scales", panels{
				figures(about{"Scale sends", "1 while the scale sends. A scale that is switched off is 0.", "short", 12,
					[]step{{lowest, "red"}, {1, "green"}}, []query{{`potlife_scale_up{BENCH}`, "{{bench}} {{scale}}"}}}),
				lines(about{"Lines that could not be used, a minute", "torn, unknown, overlong, overload: a cable, a setting, or too much weight.", "short", 12,
					nil, []query{{`sum by (bench, scale, result) (rate(potlife_scale_lines_total{BENCH,result!="ok"}[$__rate_interval])) * 60`, "{{bench}} {{scale}} {{result}}"}}}),
			}},
			{"Program", panels{
				figures(about{"Clock is set", "1 when the wall clock is known to be set.", "short", 8,
					[]step{{lowest, "red"}, {1, "green"}}, []query{{`potlife_clock_synchronised{BENCH}`, "{{bench}}"}}}),
				figures(about{"Broker is connected", "1 while the broker is connected: the hall's, which has the lights, and the plant's where there is one. Without a broker in the configuration there is no figure.", "short", 8,
					[]step{{lowest, "red"}, {1, "green"}}, []query{{`potlife_mqtt_connected{BENCH}`, "{{bench}} {{broker}}"}}}),
				figures(about{"Messages that wait for the broker", "They are sent when it is back.", "short", 8,
					[]step{{lowest, "green"}, {1000, "yellow"}}, []query{{`potlife_mqtt_waiting_messages{BENCH}`, "{{bench}} {{broker}}"}}}),
				lines(about{"Commit of the journal, 99 %", "99 of 100 commits take less. A card that becomes slow is about to fail.", "s", 12,
					nil, []query{{`histogram_quantile(0.99, sum by (bench, le) (rate(potlife_journal_write_duration_seconds_bucket{BENCH}[$__rate_interval])))`, "{{bench}}"}}}),
				lines(about{"From a reading to its message, 99 %", "99 of 100 messages are published sooner after the device's bytes.", "s", 12,
					nil, []query{{`histogram_quantile(0.99, sum by (bench, le) (rate(potlife_reading_to_publish_duration_seconds_bucket{BENCH}[$__rate_interval])))`, "{{bench}}"}}}),
				lines(about{"Messages a minute", "By broker, direction and result.", "short", 12,
					nil, []query{{`sum by (bench, broker, direction, result) (rate(potlife_mqtt_messages_total{BENCH}[$__rate_interval])) * 60`, "{{bench}} {{broker}} {{direction}} {{result}}"}}}),
				lines(about{"Memory", "Resident memory of the process.", "bytes", 12,
					nil, []query{{`process_resident_memory_bytes{job=~"$job",instance=~"$instance"}`, "{{instance}}"}}}),
			}},
		},
	}
}

// fleet answers the question of the plant: which bench needs somebody?
func fleet() *board {
	return &board{
		name: "fleet", title: "Fleet", from: "now-24h",
		about: "All benches of a plant, by the recording rules of potlifed.rules.yml.",
		rows: []row{
			{"Benches", panels{
				figures(about{"Bench answers", "1 while Prometheus can read the bench. While it is 0, its lights must show unknown.", "short", 12,
					[]step{{lowest, "red"}, {1, "green"}}, []query{{`up{job=~"$job",instance=~"$instance"}`, "{{instance}}"}}}),
				figures(about{"Active alarms", "By bench and priority.", "short", 12,
					nil, []query{{`bench:potlife_alarm_active:sum{BENCH}`, "{{bench}} {{priority}}"}}}),
				lines(about{"Shortest life on a press, low", "The press of each bench that needs its next mix first.", "s", 12,
					nil, []query{{`bench:potlife_press_remaining_seconds:min{BENCH}`, "{{bench}}"}}}),
				lines(about{"Open batches", "Mixes and parts of mixes that are not closed.", "short", 12,
					nil, []query{{`bench:potlife_batch_info:count{BENCH}`, "{{bench}}"}}}),
				lines(about{"Prints an hour", "Of all presses of a bench.", "short", 12,
					nil, []query{{`bench:potlife_prints:rate1h{BENCH} * 3600`, "{{bench}}"}}}),
				lines(about{"Rejects of 1000 prints", "All kinds, over the last hour before each moment.", "short", 12,
					nil, []query{{`1000 * sum by (bench) (bench_kind:potlife_defects:rate1h{BENCH}) / (sum by (bench) (bench:potlife_prints:rate1h{BENCH}) > 0)`, "{{bench}}"}}}),
				figures(about{"Sensors that deliver", "Share of a bench's sensors.", "percentunit", 12,
					[]step{{lowest, "red"}, {1, "green"}}, []query{{`bench:potlife_sensor_up:ratio{BENCH}`, "{{bench}}"}}}),
				rows(about{"Versions", "Of the program and of Go, by bench.", "short", 12,
					nil, []query{{`potlife_build_info{BENCH}`, ""}}}),
			}},
		},
	}
}
