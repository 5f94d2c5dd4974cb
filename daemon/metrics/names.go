package metrics

import "github.com/prometheus/client_golang/prometheus"

// The names of the histograms.
const (
	nameReadingToPublish = "potlife_reading_to_publish_duration_seconds"
	nameJournalWrite     = "potlife_journal_write_duration_seconds"
	nameBatchEndSpent    = "potlife_batch_end_spent_ratio"
	nameBatchEndAge      = "potlife_batch_end_age_seconds"
)

// helpOf holds the help texts of the histograms.
var helpOf = map[string]string{
	nameReadingToPublish: "Time from a device's bytes to the message published because of them.",
	nameJournalWrite:     "Time of one commit of the journal, until it is on disk.",
	nameBatchEndSpent:    "Pot life spent when batches ended, by outcome; 1 is the nominal end.",
	nameBatchEndAge:      "Age of batches when they ended, by outcome.",
}

// series describes one series of the collector, with its kind.
type series struct {
	desc  *prometheus.Desc
	kind  prometheus.ValueType
	about Series
}

// Series is a metric as the reference lists it.
type Series struct {
	Name   string
	Kind   string // gauge, counter or histogram
	Help   string
	Labels []string // beside bench
}

// List returns every metric of the collector and the durations, in a fixed order. The metrics
// that the Go client library adds about the process are not included.
func List() []Series {
	var list []Series
	n := newNames("")
	for _, s := range n.series() {
		list = append(list, s.about)
	}
	for _, name := range []string{nameReadingToPublish, nameJournalWrite} {
		list = append(list, Series{Name: name, Kind: "histogram", Help: helpOf[name]})
	}
	for _, name := range []string{nameBatchEndSpent, nameBatchEndAge} {
		list = append(list, Series{Name: name, Kind: "histogram", Help: helpOf[name], Labels: []string{"outcome"}})
	}
	return list
}

// names holds every series of the collector.
type names struct {
	buildInfo, clockSynchronised, timeLapse, storageBytes, storageWritable, storageFree series

	airTemperature, airHumidity, airDewPoint, airVapourDensity series

	sensorUp, sensorLastReading, sensorReads, sensorReadDuration, sensorCondition, sensorTemperature, sensorHumidity, sensorUnchanged, sensorDrift, sensorJumps, sensorFailed, sensorFinding, scaleFinding, sensorCheckDue, scaleSettle, scaleNoise, scaleZero, scaleCheckDue series

	trendUp, trendValue, trendDoubted, trendReads series

	scaleUp, scaleWeight, scaleStable, scaleLines series

	batchRemaining, batchSpent, batchRisk, batchMixed, batchComponent, batchInfo, batchesClosed series

	pressInfo, pressRemaining, pressRisk, prints, defects series

	batchEndSpent, batchEndAge *prometheus.Desc

	alarmActive, alarmUnacknowledged, light series

	mqttConnected, mqttWaiting, mqttMessages, brokerRefusals series
}

func newNames(bench string) names {
	make := func(kind prometheus.ValueType) func(name, help string, labels ...string) series {
		return func(name, help string, labels ...string) series {
			word := map[prometheus.ValueType]string{prometheus.GaugeValue: "gauge", prometheus.CounterValue: "counter"}[kind]
			return series{prometheus.NewDesc(name, help, labels, prometheus.Labels{"bench": bench}), kind, Series{name, word, help, labels}}
		}
	}
	gauge, counter := make(prometheus.GaugeValue), make(prometheus.CounterValue)
	return names{
		buildInfo:         gauge("potlife_build_info", "Version of the program and of Go; always 1.", "version", "goversion"),
		clockSynchronised: gauge("potlife_clock_synchronised", "1 when the wall clock is known to be set."),
		timeLapse:         gauge("potlife_time_lapse_ratio", "How many times faster than real time a demo runs."),
		storageBytes:      gauge("potlife_storage_bytes", "Size on disk of the journal or the history, with its log.", "file"),
		storageFree:       gauge("potlife_storage_free_bytes", "Room on the disk of the bench's data."),
		storageWritable:   gauge("potlife_storage_writable", "1 while the journal or the history can be written.", "file"),

		airTemperature:   gauge("potlife_air_temperature_celsius", "Air temperature.", "zone"),
		airHumidity:      gauge("potlife_air_relative_humidity_ratio", "Relative humidity over liquid water, 0 to 1.", "zone"),
		airDewPoint:      gauge("potlife_air_dew_point_celsius", "Dew point.", "zone"),
		airVapourDensity: gauge("potlife_air_vapour_density_grams_per_cubic_meter", "Water vapour in the air.", "zone"),

		sensorUp:           gauge("potlife_sensor_up", "1 while the sensor delivers readings.", "sensor"),
		sensorLastReading:  gauge("potlife_sensor_last_reading_timestamp_seconds", "When the newest good reading was taken.", "sensor"),
		sensorReads:        counter("potlife_sensor_reads_total", "Readings by result: ok, error (no reading), rejected (physically impossible).", "sensor", "result"),
		sensorReadDuration: gauge("potlife_sensor_read_duration_seconds", "How long the newest reading took.", "sensor"),
		sensorCondition:    gauge("potlife_sensor_condition", "1 for the present condition: waiting, up, stale or down.", "sensor", "condition"),

		sensorTemperature: gauge("potlife_sensor_temperature_celsius", "The sensor's own reading of the air temperature, while it is up.", "sensor", "zone"),
		sensorUnchanged:   gauge("potlife_sensor_unchanged_seconds", "How long the sensor's readings have been the same to the last digit.", "sensor"),
		sensorDrift:       gauge("potlife_sensor_drift_ratio", "By how much the sensor's difference to its neighbour in the relative humidity has changed, 0 to 1.", "sensor"),
		sensorJumps:       gauge("potlife_sensor_jumps_per_day", "How often the sensor's readings changed by more than 5 % relative humidity or 2 K within a minute, in a day of the last week.", "sensor"),
		sensorFailed:      gauge("potlife_sensor_failed_ratio", "Share of the sensor's readings of the last week that failed, 0 to 1.", "sensor"),
		sensorFinding:     gauge("potlife_sensor_finding", "1 for each thing that is wrong with the figures of the sensor although it answers.", "sensor", "finding"),
		scaleFinding:      gauge("potlife_scale_finding", "1 for each thing that is wrong with the figures of the scale although it answers.", "scale", "finding"),
		sensorCheckDue:    gauge("potlife_sensor_check_due_timestamp_seconds", "When the next check of the sensor is due.", "sensor"),
		scaleSettle:       gauge("potlife_scale_settle_seconds", "Median time that the scale takes to settle.", "scale"),
		scaleNoise:        gauge("potlife_scale_noise_grams", "Standard deviation of the scale's weight at rest.", "scale"),
		scaleZero:         gauge("potlife_scale_zero_grams", "What the scale shows when the cup is lifted, in the median.", "scale"),
		scaleCheckDue:     gauge("potlife_scale_check_due_timestamp_seconds", "When the next check of the scale is due.", "scale"),

		sensorHumidity: gauge("potlife_sensor_relative_humidity_ratio", "The sensor's own reading of the relative humidity, 0 to 1, while it is up.", "sensor", "zone"),

		trendUp:      gauge("potlife_trend_up", "1 while an instrument that follows a batch delivers values. Experimental.", "trend", "press"),
		trendValue:   gauge("potlife_trend_value", "Newest value of an instrument that follows a batch, in its own unit, while it is up. Experimental.", "trend", "press"),
		trendDoubted: gauge("potlife_trend_doubted", "1 while an instrument that follows a batch has stuck, does not rise or contradicts the batch's age. Experimental.", "trend", "press"),
		trendReads:   counter("potlife_trend_reads_total", "Values of an instrument that follows a batch, by result: ok, error. Experimental.", "trend", "result"),

		scaleUp:     gauge("potlife_scale_up", "1 while the scale sends.", "scale"),
		scaleWeight: gauge("potlife_scale_weight_grams", "Weight on the scale's display.", "scale"),
		scaleStable: gauge("potlife_scale_stable", "1 while the weight is settled.", "scale"),
		scaleLines:  counter("potlife_scale_lines_total", "Lines by result: ok, torn, unknown, overlong, overload.", "scale", "result"),

		batchRemaining: gauge("potlife_batch_remaining_seconds", "Pot life left in an open batch; bound is expected (half of such batches last longer), low (what it is safe to: nine in ten do) or high (one in ten does).", "batch", "bound"),
		batchSpent:     gauge("potlife_batch_spent_ratio", "Pot life spent; 1 is the nominal end.", "batch"),
		batchRisk:      gauge("potlife_batch_dead_risk_ratio", "Probability that the batch is past its pot life, 0 to 1.", "batch"),
		batchMixed:     gauge("potlife_batch_mixed_timestamp_seconds", "When hardener was added.", "batch"),
		batchComponent: gauge("potlife_batch_component_grams", "Mass of a component: ink, hardener or thinner.", "batch", "part"),
		batchInfo:      gauge("potlife_batch_info", "Properties of an open batch; always 1, for joins.", "batch", "ink", "press", "state"),
		batchesClosed:  counter("potlife_batches_closed_total", "Batches that ended, by ink and outcome.", "ink", "outcome"),

		pressInfo:      gauge("potlife_press_info", "Zone of a press, and the ink that is loaded; always 1, for joins. ink is empty while no batch is loaded.", "press", "zone", "ink"),
		pressRemaining: gauge("potlife_press_remaining_seconds", "Pot life left in the loaded batch, with the bounds of a batch.", "press", "bound"),
		pressRisk:      gauge("potlife_press_dead_risk_ratio", "Probability that the loaded batch is past its pot life, 0 to 1.", "press"),
		prints:         counter("potlife_prints_total", "Prints reported for a press.", "press"),
		defects:        counter("potlife_defects_total", "Rejects reported for a press, by kind of defect. It is brought up to date once a minute and never falls: a correction is made up for by later rejects.", "press", "kind"),

		batchEndSpent: prometheus.NewDesc(nameBatchEndSpent, helpOf[nameBatchEndSpent], []string{"outcome"}, prometheus.Labels{"bench": bench}),
		batchEndAge:   prometheus.NewDesc(nameBatchEndAge, helpOf[nameBatchEndAge], []string{"outcome"}, prometheus.Labels{"bench": bench}),

		alarmActive:         gauge("potlife_alarm_active", "1 while the cause of an alarm is present; 0 once it is gone, and while the alarm is silenced.", "alarm", "subject", "priority"),
		alarmUnacknowledged: gauge("potlife_alarm_unacknowledged", "1 while nobody has acknowledged an alarm, whether its cause is still present or not.", "alarm", "subject"),
		light:               gauge("potlife_light", "1 for the meaning that a light shows.", "light", "meaning"),

		mqttConnected:  gauge("potlife_mqtt_connected", "1 while the broker is connected: the hall's, which has the lights, and the plant's where there is one.", "broker"),
		mqttWaiting:    gauge("potlife_mqtt_waiting_messages", "Messages that wait for the broker.", "broker"),
		mqttMessages:   counter("potlife_mqtt_messages_total", "Messages by direction and result.", "broker", "direction", "result"),
		brokerRefusals: counter("potlife_broker_refusals_total", "Requests of clients that the built-in broker refused, by action.", "action"),
	}
}

// all returns the descriptions.
func (n *names) all() []*prometheus.Desc {
	var descs []*prometheus.Desc
	for _, s := range n.series() {
		descs = append(descs, s.desc)
	}
	return append(descs, n.batchEndSpent, n.batchEndAge)
}

// series returns every series of the collector.
func (n *names) series() []series {
	return []series{
		n.buildInfo, n.clockSynchronised, n.timeLapse, n.storageBytes, n.storageWritable, n.storageFree,
		n.airTemperature, n.airHumidity, n.airDewPoint, n.airVapourDensity,
		n.sensorUp, n.sensorLastReading, n.sensorReads, n.sensorReadDuration, n.sensorCondition, n.sensorTemperature, n.sensorHumidity, n.sensorUnchanged, n.sensorDrift, n.sensorJumps, n.sensorFailed, n.sensorFinding, n.scaleFinding, n.sensorCheckDue, n.scaleSettle, n.scaleNoise, n.scaleZero, n.scaleCheckDue,
		n.trendUp, n.trendValue, n.trendDoubted, n.trendReads,
		n.scaleUp, n.scaleWeight, n.scaleStable, n.scaleLines,
		n.batchRemaining, n.batchSpent, n.batchRisk, n.batchMixed, n.batchComponent, n.batchInfo, n.batchesClosed,
		n.pressInfo, n.pressRemaining, n.pressRisk, n.prints, n.defects,
		n.alarmActive, n.alarmUnacknowledged, n.light,
		n.mqttConnected, n.mqttWaiting, n.mqttMessages, n.brokerRefusals,
	}
}
