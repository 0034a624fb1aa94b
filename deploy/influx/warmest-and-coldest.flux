// The extremes of each tank's beer within a day, degC.
day = from(bucket: "cellar")
  |> range(start: -1d)
  |> filter(fn: (r) => r._measurement == "cellar" and r._field == "temperature")
  |> group(columns: ["tank"])

union(tables: [
  day |> max() |> map(fn: (r) => ({tank: r.tank, which: "warmest", _value: r._value})),
  day |> min() |> map(fn: (r) => ({tank: r.tank, which: "coldest", _value: r._value})),
])
