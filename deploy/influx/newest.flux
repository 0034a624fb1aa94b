// The newest of every figure of every tank.
from(bucket: "cellar")
  |> range(start: -1d)
  |> filter(fn: (r) => r._measurement == "cellar")
  |> group(columns: ["tank", "_field"])
  |> last()
  |> keep(columns: ["_time", "tank", "probe", "_field", "_value"])
