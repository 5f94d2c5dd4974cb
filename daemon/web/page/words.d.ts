// The keys of the texts and their placeholders, written from the catalogue by
// go test ./daemon/words -run PageTypes -update

declare namespace Words {
  type Value = string | number;
  type Key = keyof Texts;
  /** What say takes beside a key: the values of its placeholders, if it has any. */
  type Arguments<K extends Key> = [keyof Texts[K]] extends [never] ? [] : [values: Texts[K]];
  interface Texts {
    "alarms.acknowledge": {};
    "alarms.none": {};
    "alarms.shelve": {};
    "alarms.title": {};
    "alarms.unshelve": {};
    "date.clock": {hour: Value; minute: Value};
    "date.clock-day": {clock: Value; day: Value};
    "date.clock-weekday": {clock: Value; weekday: Value};
    "date.day": {day: Value; month: Value; year: Value};
    "date.month-1": {};
    "date.month-10": {};
    "date.month-11": {};
    "date.month-12": {};
    "date.month-2": {};
    "date.month-3": {};
    "date.month-4": {};
    "date.month-5": {};
    "date.month-6": {};
    "date.month-7": {};
    "date.month-8": {};
    "date.month-9": {};
    "date.weekday-0": {};
    "date.weekday-1": {};
    "date.weekday-2": {};
    "date.weekday-3": {};
    "date.weekday-4": {};
    "date.weekday-5": {};
    "date.weekday-6": {};
    "unit.celsius": {value: Value};
    "unit.decimal": {};
    "unit.fahrenheit": {value: Value};
    "unit.grams": {value: Value};
    "unit.hours-minutes": {hours: Value; minutes: Value};
    "unit.minutes": {minutes: Value};
    "unit.percent": {value: Value};
    "unit.seconds": {seconds: Value};
  }
}
