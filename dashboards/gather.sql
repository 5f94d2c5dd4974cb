-- Brings the days that the benches of a plant exported into one database, for study.sql and for questions of one's own. For
-- DuckDB 1.3 or later, in the folder with what `potlifed export --by-day --out DIR` of every bench wrote:
--
--   duckdb plant.duckdb -f gather.sql
--
-- With SET VARIABLE tables = 'DIR' before it reads another folder. The newest week of the database is read again, since a bench may
-- have been late; SET VARIABLE since = DATE '2026-05-04' reads again from that day on. Columns are those of schema.md. Files that
-- do not follow this form are an error.

-- The order of the rows says nothing. Kept, it would have DuckDB hold what it read until all files before are read.
SET preserve_insertion_order = false;
SET VARIABLE tables = coalesce(getvariable('tables'), '.');
CREATE TABLE IF NOT EXISTS prints (bench VARCHAR, date DATE, time TIMESTAMP, press VARCHAR, batch VARCHAR, ink VARCHAR, source VARCHAR, prints BIGINT, spent DOUBLE, age_s DOUBLE,
  temperature_c DOUBLE, humidity_pct DOUBLE, vapour_density_g_m3 DOUBLE, thinner_pct DOUBLE, ratio_off_pct DOUBLE);
CREATE TABLE IF NOT EXISTS defects (bench VARCHAR, date DATE, time TIMESTAMP, press VARCHAR, batch VARCHAR, ink VARCHAR, source VARCHAR, kind VARCHAR, defects BIGINT);
CREATE TABLE IF NOT EXISTS batches (bench VARCHAR, date DATE, id VARCHAR, ink VARCHAR, press VARCHAR, mixed_at TIMESTAMP, closed_at TIMESTAMP, outcome VARCHAR, spent DOUBLE,
  thinner_pct DOUBLE, ratio_off_pct DOUBLE, prints BIGINT, defects BIGINT);
SET VARIABLE since = coalesce(getvariable('since'), (SELECT max(date) - 7 FROM prints), DATE '0001-01-01');

BEGIN;
DELETE FROM prints WHERE date >= getvariable('since');
INSERT INTO prints BY NAME
SELECT * REPLACE (coalesce(batch, '') AS batch) FROM read_json(getvariable('tables') || '/bench=*/date=*/prints.jsonl.gz', format = 'newline_delimited',
  hive_types = {'bench': VARCHAR, 'date': DATE}, columns = {time: 'TIMESTAMP', press: 'VARCHAR', batch: 'VARCHAR', ink: 'VARCHAR', source: 'VARCHAR', prints: 'BIGINT', spent: 'DOUBLE', age_s: 'DOUBLE',
  temperature_c: 'DOUBLE', humidity_pct: 'DOUBLE', vapour_density_g_m3: 'DOUBLE', thinner_pct: 'DOUBLE', ratio_off_pct: 'DOUBLE'})
WHERE date >= getvariable('since');
DELETE FROM defects WHERE date >= getvariable('since');
INSERT INTO defects BY NAME
SELECT * REPLACE (coalesce(batch, '') AS batch) FROM read_json(getvariable('tables') || '/bench=*/date=*/defects.jsonl.gz', format = 'newline_delimited',
  hive_types = {'bench': VARCHAR, 'date': DATE}, columns = {time: 'TIMESTAMP', press: 'VARCHAR', batch: 'VARCHAR', ink: 'VARCHAR', source: 'VARCHAR', kind: 'VARCHAR', defects: 'BIGINT'})
WHERE date >= getvariable('since');
DELETE FROM batches WHERE date >= getvariable('since');
INSERT INTO batches BY NAME
SELECT * FROM read_json(getvariable('tables') || '/bench=*/date=*/batches.jsonl.gz', format = 'newline_delimited',
  hive_types = {'bench': VARCHAR, 'date': DATE}, columns = {id: 'VARCHAR', ink: 'VARCHAR', press: 'VARCHAR', mixed_at: 'TIMESTAMP', closed_at: 'TIMESTAMP', outcome: 'VARCHAR', spent: 'DOUBLE',
  thinner_pct: 'DOUBLE', ratio_off_pct: 'DOUBLE', prints: 'BIGINT', defects: 'BIGINT'})
WHERE date >= getvariable('since');
COMMIT;
