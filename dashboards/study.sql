-- Does humid air go with more print defects, over all benches of a plant? For DuckDB 1.3 or later, with the tables that
-- gather.sql made:
--
--   duckdb plant.duckdb -f study.sql
--
-- The quantile of the gamma distribution, by Newton's method for the logarithm of its series: DLMF 8.7.1. z is the
-- normal quantile of p, from which Wilson and Hilferty's approximation begins.
CREATE OR REPLACE TEMP MACRO gamma_p(a, x) AS exp(a * ln(x) - x - lgamma(a + 1)) *
  list_sum(list_transform(range(0, CAST(200 + 20 * sqrt(x) AS BIGINT)), lambda k: exp(k * ln(x) + lgamma(a + 1) - lgamma(a + k + 1))));
CREATE OR REPLACE TEMP MACRO gamma_step(a, x, p, cdf) AS x * exp(-ln(cdf / p) * cdf / exp(a * ln(x) - x - lgamma(a)));
CREATE OR REPLACE TEMP MACRO gamma_quantile(a, p, z) AS list_reduce(
  [a * greatest(1e-2, 1 - 1 / (9 * a) + z / (3 * sqrt(a))) ** 3, 1, 2, 3, 4, 5, 6],
  lambda x, i: gamma_step(a, x, p, gamma_p(a, x)));
-- The exact interval of a Poisson count that is divided by a design effect: Garwood, Biometrika 28 (1936) 437.
CREATE OR REPLACE TEMP MACRO count_low(n) AS CASE WHEN n > 0 THEN gamma_quantile(n, 0.025, -1.959963984540054) ELSE 0 END;
CREATE OR REPLACE TEMP MACRO count_high(n) AS gamma_quantile(n + 1, 0.975, 1.959963984540054);
-- The 97.5 % quantile of Student's t: Abramowitz and Stegun 26.7.5 at z = 1.959963984540054; right to 1e-5 from 8 degrees on.
CREATE OR REPLACE TEMP MACRO t_quantile(df) AS
  1.959963984540054 + 2.372271230 / df + 2.822498850 / df ** 2 + 2.555851480 / df ** 3 + 1.589534144 / df ** 4;

-- A lot is the prints of a press with a batch. An id of a batch is used again after a year: what happened belongs to the batch
-- that ended nearest, and each of a lot's batches is a row here with the time from after to upto. Texts are joined and grouped by
-- their hash.
CREATE OR REPLACE TEMP TABLE lots AS
WITH named AS (
  SELECT hash(bench, press, batch) AS lot, any_value(bench) AS bench, any_value(press) AS press, any_value(batch) AS batch
  FROM (SELECT bench, press, batch FROM prints UNION ALL SELECT bench, press, batch FROM defects) GROUP BY lot
), closed AS (SELECT hash(bench, id) AS id, epoch(closed_at)::BIGINT AS ended, ink FROM batches),
ended AS (
  SELECT id, ended, ink, (lag(ended) OVER same + ended) / 2 AS after, (ended + lead(ended) OVER same) / 2 AS upto
  FROM closed WINDOW same AS (PARTITION BY id ORDER BY ended)
)
SELECT row_number() OVER () AS mix, lot, bench, press, batch, ended, ink, coalesce(after, '-infinity'::DOUBLE) AS after, coalesce(upto, 'infinity'::DOUBLE) AS upto
FROM named LEFT JOIN ended ON id = hash(bench, batch);

-- The prints of a lot in a quarter-hour, and its rejects as they were told.
CREATE OR REPLACE TEMP TABLE printed AS
SELECT mix, epoch(time)::BIGINT // 900 AS quarter, date, any_value(coalesce(p.ink, l.ink, '')) AS ink, sum(prints)::DOUBLE AS prints,
  sum(prints * vapour_density_g_m3) / sum(prints) FILTER (vapour_density_g_m3 IS NOT NULL) AS vapour,
  sum(prints * temperature_c) / sum(prints) FILTER (temperature_c IS NOT NULL) AS celsius
FROM prints p JOIN lots l ON lot = hash(p.bench, p.press, p.batch) AND epoch(time) > after AND epoch(time) <= upto GROUP BY mix, quarter, date;
CREATE OR REPLACE TEMP TABLE rejected AS
SELECT lot, mix, epoch(time)::BIGINT // 900 AS quarter, date, kind, defects AS n, coalesce(d.ink, l.ink, '') AS ink
FROM defects d JOIN lots l ON lot = hash(d.bench, d.press, d.batch) AND epoch(time) > after AND epoch(time) <= upto;

-- Cells: quarters of a lot together, in the shortest spans of 1 to 16 that make at most 8000 cells. Each bit is a quarter.
SET VARIABLE span = (
  SELECT CASE WHEN sum(bit_count(bits)) <= 8000 THEN 1 WHEN sum(bit_count((bits | bits >> 1) & 21845)) <= 8000 THEN 2
    WHEN sum(bit_count((bits | bits >> 1 | bits >> 2 | bits >> 3) & 4369)) <= 8000 THEN 4
    WHEN sum((bits & 255 > 0)::INT + (bits >> 8 > 0)::INT) <= 8000 THEN 8 ELSE 16 END
  FROM (
    SELECT bit_or(1 << (quarter % 16)::INT) AS bits
    FROM (SELECT mix, quarter, date FROM printed UNION ALL SELECT mix, quarter, date FROM rejected) GROUP BY mix, date, quarter // 16
  )
);
CREATE OR REPLACE TEMP MACRO cell_of(mix, quarter, date) AS hash(mix, quarter // getvariable('span'), date);
CREATE OR REPLACE TEMP TABLE cells AS
SELECT cell_of(mix, quarter, date) AS cell, any_value(mix) AS mix, any_value(date) AS date, arg_min(ink, quarter) AS ink, sum(prints) AS prints,
  sum(prints * vapour) / sum(prints) FILTER (vapour IS NOT NULL) AS vapour, sum(prints * celsius) / sum(prints) FILTER (celsius IS NOT NULL) AS celsius
FROM (FROM printed UNION ALL BY NAME SELECT mix, quarter, date, ink, 0 AS prints FROM rejected) GROUP BY cell;

-- A batch belongs to the day on which it began, and the days of each bench are its own.
CREATE OR REPLACE TEMP TABLE exposed AS
SELECT cell, prints, vapour, celsius, hash(bench, press, c.ink) AS stratum,
  hash(bench, CASE WHEN batch = '' THEN date ELSE min(date) OVER (PARTITION BY hash(bench, batch, coalesce(ended, -year(date)))) END) AS day
FROM cells c JOIN lots USING (mix) QUALIFY prints > 0;

-- Rejects, with corrections taken from the newest ones before them: owed is what later corrections still take.
CREATE OR REPLACE TEMP TABLE kind_counts AS
WITH wrong AS (SELECT DISTINCT lot, kind FROM rejected WHERE n < 0),
summed AS (
  SELECT lot, kind, mix, quarter, date, sum(n) AS n FROM rejected SEMI JOIN wrong USING (lot, kind) GROUP BY ALL
), onward AS (
  SELECT *, sum(n) OVER lot AS rest FROM summed WINDOW lot AS (PARTITION BY lot, kind ORDER BY quarter DESC)
), owing AS (
  SELECT *, greatest(0, max(rest - n) OVER lot) - (rest - n) AS owed FROM onward WINDOW lot AS (PARTITION BY lot, kind ORDER BY quarter DESC)
), counts AS (
  SELECT cell_of(mix, quarter, date) AS cell, kind, sum(n)::DOUBLE AS n FROM rejected ANTI JOIN wrong USING (lot, kind) GROUP BY cell, kind HAVING sum(n) > 0
  UNION ALL SELECT cell_of(mix, quarter, date), kind, sum(n - owed)::DOUBLE FROM owing WHERE n > owed GROUP BY ALL
), used AS (FROM counts SEMI JOIN exposed USING (cell))
FROM used UNION ALL SELECT cell, 'all', sum(n) FROM used GROUP BY ALL;

-- How often each kind was counted. The design effect is by what the rate scatters more between days than by chance:
-- Cochran, Sampling Techniques, 3rd ed. 1977, section 6.3.
CREATE OR REPLACE TEMP TABLE totals AS
WITH days AS (SELECT day, sum(prints) AS prints FROM exposed GROUP BY ALL),
by_day AS (SELECT kind, day, sum(n) AS n FROM kind_counts JOIN exposed USING (cell) GROUP BY ALL),
sums AS (SELECT kind, sum(n) AS defects, (SELECT sum(prints) FROM days) AS prints FROM by_day GROUP BY ALL),
scatter AS (
  SELECT kind, s.defects, s.prints, greatest(1, count(*) / (count(*) - 1) * sum((coalesce(n, 0) - s.defects / s.prints * d.prints) ** 2) / s.defects) AS design
  FROM sums s CROSS JOIN days d LEFT JOIN by_day USING (kind, day) GROUP BY kind, s.defects, s.prints
)
SELECT kind, prints, defects, defects / prints AS rate, count_low(defects / design) * design / prints AS rate_low,
  count_high(defects / design) * design / prints AS rate_high
FROM scatter;

-- Quantiles by prints.
CREATE OR REPLACE TEMP MACRO quantile_of(share, which) AS (
  SELECT min(x) FROM (
    SELECT x, sum(prints) OVER (ORDER BY x) AS below, sum(prints) OVER () AS total
    FROM (SELECT CASE which WHEN 'vapour' THEN vapour ELSE celsius END AS x, prints FROM exposed) WHERE x IS NOT NULL
  ) WHERE below >= share * total
);
CREATE OR REPLACE TEMP TABLE range AS
SELECT quantile_of(0.005, 'vapour') AS low, quantile_of(0.995, 'vapour') AS high, quantile_of(0.1, 'vapour') AS dry,
  quantile_of(0.9, 'vapour') AS humid, quantile_of(0.98, 'celsius') - quantile_of(0.02, 'celsius') AS celsius;

-- Rates by vapour density. Bins with less than 2 % of the prints are joined to the smaller neighbour.
CREATE OR REPLACE TEMP TABLE bins AS
WITH RECURSIVE grid AS (
  SELECT low, high, w AS width FROM (
    SELECT low, high, unnest([1, 2, 5, 10, 20]) * 10 ** floor(log10((high - low) / 10)) AS w FROM range
  ) WHERE (high - floor(low / w) * w) / w < 10 ORDER BY w LIMIT 1
), placed AS (
  SELECT cell, day, prints, vapour, floor(low / width) * width AS start, width,
    greatest(0, least(floor((high - floor(low / width) * width) / width), floor((vapour - floor(low / width) * width) / width)))::INT AS place
  FROM exposed, grid WHERE vapour IS NOT NULL
), joined AS (
  SELECT list(place ORDER BY place) AS places, list(prints ORDER BY place) AS prints, 0.02 * sum(prints) AS least
  FROM (SELECT place, sum(coalesce(prints, 0)) AS prints FROM (SELECT unnest(range(0, (SELECT max(place) + 1 FROM placed)))::INT AS place)
    LEFT JOIN placed USING (place) GROUP BY ALL)
  UNION ALL
  SELECT list_slice(places, 1, here) || list_slice(places, here + 2, -1), list_slice(prints, 1, here - 1) || [prints[here] + prints[here + 1]] || list_slice(prints, here + 2, -1), least
  FROM (SELECT *, CASE WHEN i = 1 OR i < len(prints) AND prints[i + 1] < prints[i - 1] THEN i ELSE i - 1 END AS here
    FROM (SELECT *, list_position(prints, list_min(prints)) AS i FROM joined WHERE len(prints) > 1 AND list_min(prints) < least))
), final AS (SELECT places FROM joined ORDER BY len(places) LIMIT 1),
by_day AS (
  SELECT list_max(list_filter(places, lambda x: x <= place)) AS bin, day, sum(prints) AS prints, sum(prints * vapour) AS weighted, coalesce(sum(n), 0) AS n
  FROM placed CROSS JOIN final LEFT JOIN (SELECT cell, n FROM kind_counts WHERE kind = 'all') USING (cell) GROUP BY ALL
), sums AS (SELECT bin, sum(prints) AS prints, sum(n) AS n, sum(weighted) / sum(prints) AS mean, count(*) AS days FROM by_day GROUP BY ALL),
scatter AS (
  SELECT bin, CASE WHEN s.n > 0 AND s.days > 1 THEN s.days / (s.days - 1) * sum((d.n - s.n / s.prints * d.prints) ** 2) / s.n ELSE 1 END AS design
  FROM sums s JOIN by_day d USING (bin) GROUP BY bin, s.n, s.prints, s.days
), design AS (SELECT greatest(1, coalesce(sum(design * n) / nullif(sum(n), 0), 1)) AS design FROM sums JOIN scatter USING (bin))
SELECT start + bin * width AS low, start + coalesce(lead(bin) OVER (ORDER BY bin), (SELECT max(place) + 1 FROM placed)) * width AS high, mean, prints, n AS defects,
  n / prints AS rate, count_low(n / design) * design / prints AS rate_low, count_high(n / design) * design / prints AS rate_high, days
FROM sums, design, (SELECT DISTINCT start, width FROM placed);

-- The regression. Its intercepts, one for each bench, press and ink, are taken out exactly: at the best fit a stratum's expected
-- rejects are those counted. x2 is 0 where the temperature is not held constant.
CREATE OR REPLACE TEMP TABLE fitted AS
WITH known AS (
  SELECT *, vapour - avg(vapour) OVER () AS x1, celsius - avg(celsius) OVER () AS x2 FROM exposed WHERE vapour IS NOT NULL AND celsius IS NOT NULL
), moments AS (
  SELECT sum(prints * x1 * x1) - sum(prints * x1) ** 2 / sum(prints) AS xx, sum(prints * x2 * x2) - sum(prints * x2) ** 2 / sum(prints) AS yy,
    sum(prints * x1 * x2) - sum(prints * x1) * sum(prints * x2) / sum(prints) AS xy
  FROM known GROUP BY stratum
), held AS (
  SELECT (SELECT celsius FROM range) > 0.5 AND (SELECT coalesce(sum(xy) ** 2 / nullif(sum(xx) * sum(yy), 0), 0) FROM moments) <= 0.9 AS held
)
SELECT cell, stratum, day, prints, vapour - avg(vapour) OVER () AS x1, CASE WHEN held THEN celsius - avg(celsius) OVER () ELSE 0 END AS x2, held
FROM exposed, held WHERE vapour IS NOT NULL AND (celsius IS NOT NULL OR NOT held);

CREATE OR REPLACE TEMP TABLE observed AS
SELECT kind, stratum, sum(n) AS y, sum(n * x1) AS y1, sum(n * x2) AS y2 FROM kind_counts JOIN fitted USING (cell) GROUP BY ALL;

CREATE OR REPLACE TEMP TABLE slopes AS
WITH RECURSIVE newton AS (
  SELECT kind, 0 AS step, 0::DOUBLE AS b1, 0::DOUBLE AS b2, 1::DOUBLE AS change FROM observed GROUP BY kind HAVING sum(y) >= 10
  UNION ALL
  SELECT kind, step + 1, b1 + d1, b2 + d2, abs(d1) + abs(d2) FROM (
    SELECT kind, step, b1, b2, (i22 * g1 - i12 * g2) / (i11 * i22 - i12 * i12) AS d1, (i11 * g2 - i12 * g1) / (i11 * i22 - i12 * i12) AS d2 FROM (
      SELECT kind, step, b1, b2, sum(y1 - y * m1) AS g1, sum(y2 - y * m2) AS g2, sum(y * (m11 - m1 * m1)) AS i11, sum(y * (m12 - m1 * m2)) AS i12,
        sum(y * (m22 - m2 * m2)) + (NOT any_value(held))::INT AS i22
      FROM (
        SELECT kind, stratum, step, b1, b2, sum(w * x1) / sum(w) AS m1, sum(w * x2) / sum(w) AS m2, sum(w * x1 * x1) / sum(w) AS m11,
          sum(w * x1 * x2) / sum(w) AS m12, sum(w * x2 * x2) / sum(w) AS m22, any_value(held) AS held
        FROM (SELECT *, prints * exp(b1 * x1 + b2 * x2) AS w FROM newton, fitted WHERE step < 30 AND change > 1e-10)
        GROUP BY kind, stratum, step, b1, b2
      ) JOIN observed USING (kind, stratum) GROUP BY kind, step, b1, b2))
)
SELECT kind, arg_max(b1, step) AS b1, arg_max(b2, step) AS b2 FROM newton GROUP BY kind;

-- Standard errors by days, each day's part enlarged by what the day itself pulls the fit: Bell and McCaffrey, Survey Methodology 28 (2002)
-- 169, with the degrees of freedom of Pustejovsky and Tipton, J. Business & Economic Statistics 36 (2018) 672. The matrices are of
-- two rows, and their roots are written out.
CREATE OR REPLACE TEMP TABLE effects AS
WITH weighed AS (
  SELECT s.kind, f.stratum, f.day, x1, x2, o.y, prints * exp(b1 * x1 + b2 * x2) AS w
  FROM slopes s JOIN observed o USING (kind) JOIN fitted f USING (stratum)
), means AS (
  SELECT kind, stratum, any_value(y) / sum(w) AS scale, sum(w * x1) / sum(w) AS m1, sum(w * x2) / sum(w) AS m2 FROM weighed GROUP BY kind, stratum
), expected AS (
  SELECT kind, day, sum(mu * d1) AS t1, sum(mu * d2) AS t2, sum(mu * d1 * d1) AS p11, sum(mu * d1 * d2) AS p12, sum(mu * d2 * d2) AS p22
  FROM (SELECT kind, day, scale * w AS mu, x1 - m1 AS d1, x2 - m2 AS d2 FROM weighed JOIN means USING (kind, stratum)) GROUP BY kind, day
), counted AS (
  SELECT kind, day, sum(n * (x1 - m1)) AS c1, sum(n * (x2 - m2)) AS c2
  FROM kind_counts JOIN fitted USING (cell) JOIN means USING (kind, stratum) GROUP BY kind, day
), days AS (
  SELECT e.*, coalesce(c1, 0) - t1 AS s1, coalesce(c2, 0) - t2 AS s2, (SELECT any_value(held) FROM fitted) AS held
  FROM expected e LEFT JOIN counted USING (kind, day)
), information AS (
  SELECT kind, sum(p11) AS i11, sum(p12) AS i12, sum(p22) + (NOT any_value(held))::INT AS i22, count(*) AS days FROM days GROUP BY kind
), covariance AS (
  SELECT kind, days, i22 / det AS v11, -i12 / det AS v12, sqrt(i22 / det) AS l11, -i12 / det / sqrt(i22 / det) AS l21, sqrt(1 / i22) AS l22
  FROM (SELECT *, i11 * i22 - i12 * i12 AS det FROM information)
), pulls AS ( -- 1 - L'PL with LL' the covariance, and L's
  SELECT *, 1 - (l11 * l11 * p11 + 2 * l11 * l21 * p12 + l21 * l21 * p22) AS m11, -(l11 * p12 + l21 * p22) * l22 AS m12, 1 - l22 * l22 * p22 AS m22,
    l11 * s1 + l21 * s2 AS u1, l22 * s2 AS u2, v11 * v11 * p11 + 2 * v11 * v12 * p12 + v12 * v12 * p22 AS own, (v11 * t1 + v12 * t2) ** 2 AS common,
    (v11 * s1 + v12 * s2) ** 2 AS seen
  FROM days d JOIN covariance USING (kind)
), parts AS (
  SELECT *, l11 * sqrt(m11 + m22 + 2 * root) * ((m22 + root) * u1 - m12 * u2) / ((m11 + root) * (m22 + root) - m12 * m12) AS part,
    (own + greatest(0, coalesce(sum(seen - own) OVER k / nullif(sum(common) OVER k, 0), 0)) * common) / greatest(1e-3, 1 - own / v11) AS v
  FROM (SELECT *, sqrt(greatest(0, m11 * m22 - m12 * m12)) AS root FROM pulls) WINDOW k AS (PARTITION BY kind)
), errors AS (
  SELECT kind, days, sqrt(sum(part * part)) AS se, greatest(1, least(days - 1, sum(v) ** 2 / sum(v * v))) AS df FROM parts GROUP BY kind, days
)
SELECT kind, sum(y) AS defects, days, any_value(b1) AS slope, se, df, exp(any_value(b1)) AS ratio, exp(any_value(b1) - t_quantile(df) * se) AS ratio_low,
  exp(any_value(b1) + t_quantile(df) * se) AS ratio_high, exp(any_value(b1) * (humid - dry)) AS swing,
  exp((any_value(b1) - t_quantile(df) * se) * (humid - dry)) AS swing_low, exp((any_value(b1) + t_quantile(df) * se) * (humid - dry)) AS swing_high
FROM errors JOIN slopes USING (kind) JOIN observed USING (kind), range WHERE humid - dry >= 1 AND days >= 8
GROUP BY kind, days, se, df, humid, dry;

SELECT kind, defects::BIGINT AS rejects, round(1000 * rate, 3) AS per_1000_prints, round(1000 * rate_low, 3) AS low, round(1000 * rate_high, 3) AS high
FROM totals ORDER BY defects DESC, kind;
SELECT low AS from_g_m3, high AS to_g_m3, prints::BIGINT AS prints, defects::BIGINT AS rejects, round(1000 * rate, 3) AS per_1000_prints,
  round(1000 * rate_low, 3) AS low_95, round(1000 * rate_high, 3) AS high_95
FROM bins ORDER BY bins.low;
SELECT kind, round(ratio, 4) AS ratio_per_g_m3, round(ratio_low, 4) AS low_95, round(ratio_high, 4) AS high_95,
  round(swing, 3) AS humid_to_dry_tenth, round(swing_low, 3) AS swing_low_95, round(swing_high, 3) AS swing_high_95
FROM effects ORDER BY defects DESC, kind;
