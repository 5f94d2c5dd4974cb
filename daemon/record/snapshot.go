package record
