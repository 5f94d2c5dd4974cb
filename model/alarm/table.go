package alarm

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// byName puts the table into the order that Find needs.
func byName(table []Definition) []Definition {
	slices.SortFunc(table, func(a, b Definition) int { return cmp.Compare(a.Name, b.Name) })
	return table
}

func compareName(d Definition, name string) int { return strings.Compare(d.Name, name) }

var definitions = byName(slices.Concat(ofBatches, ofAir, ofService))

var ofBatches = []Definition{
	{
		Name: BatchEnding, Subject: Batch, Priority: Medium,
		Settings: "alarms.ending_before, alarms.mixing_takes, inks[].rest",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchRisk, Subject: Batch, Priority: High,
		Settings: "alarms.stop_at_risk",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchDead, Subject: Batch, Priority: High,
		Delays: Delays{Off: time.Minute},
	},
	{
		Name: BatchLeftOpen, Subject: Batch, Priority: Low,
		Delays: Delays{On: 10 * time.Minute, Off: time.Minute},
	},
	{
		Name: LifeCut, Subject: Batch, Priority: Medium, NeedsAir: true,
		Delays: Delays{On: 5 * time.Minute, Off: 5 * time.Minute},
	},
	{
		Name: RatioOff, Subject: Batch, Priority: High,
		Settings: "inks[].ratio_tolerance_pct",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: ThinnerOff, Subject: Batch, Priority: Medium,
		Settings: "inks[].thinner_pct",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: OrderWrong, Subject: Batch, Priority: High,
		Delays: Delays{Off: 5 * time.Second},
	},
	{
		Name: NoBatch, Subject: Press, Priority: High,
		Delays: Delays{Off: 5 * time.Second},
	},
	{
		Name: NotChanged, Subject: Press, Priority: High,
		Delays: Delays{Off: 5 * time.Second},
	},
}

var ofAir = []Definition{
	{
		Name: AirOutOfRange, Subject: Zone, Priority: Medium, NeedsAir: true,
		Delays: Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: CupSweating, Subject: Batch, Priority: Medium,
		Delays: Delays{On: time.Minute, Off: 5 * time.Minute},
	},
	{
		Name: SensorStale, Subject: Sensor, Priority: Medium,
		Settings: "sensors[].stale_after",
		Delays:   Delays{Off: 10 * time.Second},
	},
	{
		Name: SensorOverdue, Subject: Sensor, Priority: Low,
		Settings: "sensors[].check_every",
		Delays:   Delays{On: time.Minute, Off: time.Second},
	},
	{
		Name: Implausible, Subject: Sensor, Priority: Medium,
		Delays: Delays{Off: 10 * time.Second},
	},
	{
		Name: Disagrees, Subject: Sensor, Priority: Medium, NeedsAir: true,
		Delays: Delays{On: 5 * time.Minute, Off: 5 * time.Minute},
	},
	{
		Name: SensorStuck, Subject: Sensor, Priority: Medium,
		Delays: Delays{Off: time.Minute},
	},
	{
		Name: SensorDrifting, Subject: Sensor, Priority: Low,
		Delays: Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: SensorFailing, Subject: Sensor, Priority: Low,
		Delays: Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: SensorJumping, Subject: Sensor, Priority: Low,
		Delays: Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: TrendDoubted, Subject: Trend, Priority: Low,
		Delays: Delays{On: time.Minute, Off: time.Minute},
	},
}

var ofService = []Definition{
	{
		Name: ScaleSilent, Subject: Scale, Priority: Medium,
		Delays: Delays{Off: 5 * time.Second},
	},
	{
		Name: ScaleNoisy, Subject: Scale, Priority: Low,
		Delays: Delays{On: 5 * time.Minute, Off: time.Minute},
	},
	{
		Name: ScaleDrifting, Subject: Scale, Priority: Low,
		Delays: Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: ScaleOverdue, Subject: Scale, Priority: Low,
		Settings: "scales[].check_every",
		Delays:   Delays{On: time.Minute, Off: time.Second},
	},
	{
		Name: LightSilent, Subject: Light, Priority: High,
		Settings: "lights[].confirm_within",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: ClockUnset, Subject: Bench, Priority: Low,
		Delays: Delays{Off: 10 * time.Second},
	},
	{
		Name: JournalFailing, Subject: Bench, Priority: High,
		Delays: Delays{Off: 10 * time.Second},
	},
	{
		Name: DiskLow, Subject: Bench, Priority: Low,
		Delays: Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: BrokerAway, Subject: Bench, Priority: Medium,
		Delays: Delays{On: 5 * time.Second, Off: 10 * time.Second},
	},
	{
		Name: PlantAway, Subject: Bench, Priority: Low,
		Delays: Delays{On: 30 * time.Second, Off: 10 * time.Second},
	},
	{
		Name: QueueLong, Subject: Bench, Priority: Low,
		Delays: Delays{On: 30 * time.Second, Off: time.Minute},
	},
	{
		Name: Certificate, Subject: Bench, Priority: Low,
		Delays: Delays{Off: time.Minute},
	},
	{
		Name: OtherInstance, Subject: Bench, Priority: High,
		Delays: Delays{Off: 10 * time.Second},
	},
}
