// How many points of 0.001 SG each tank's gravity has changed by within a day, from the means of its ends.
ends = (since, until) =>
  from(bucket: "cellar")
    |> range(start: since, stop: until)
    |> filter(fn: (r) => r._measurement == "cellar" and r._field == "gravity")
    |> group(columns: ["tank"])
    |> mean()

join(tables: {before: ends(since: -26h, until: -22h), now: ends(since: -4h, until: -0s)}, on: ["tank"])
  |> map(fn: (r) => ({tank: r.tank, points: (r._value_now - r._value_before) * 1000.0}))
