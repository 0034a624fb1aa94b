// One tank's gravity, SG 20/20, a mean for each hour: what a curve of a week is drawn from.
from(bucket: "cellar")
  |> range(start: -7d)
  |> filter(fn: (r) => r._measurement == "cellar" and r._field == "gravity" and r.tank == "FV3")
  |> aggregateWindow(every: 1h, fn: mean, createEmpty: false)
  |> keep(columns: ["_time", "tank", "probe", "_value"])
