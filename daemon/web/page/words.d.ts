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
  }
}
