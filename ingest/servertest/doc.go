// Package servertest starts the real servers that spile speaks to, for the
// time of one test: Mosquitto, InfluxDB, Prometheus and its promtool.
//
// Each server gets a free port of 127.0.0.1 and a directory of its own, is
// ready when the constructor returns, and is gone when the test ends; what it
// printed is logged if the test failed. Stop, Kill and Start make outages:
// port, data and credentials stay over them. Run starts any other program, such
// as the one under test.
//
// Where a server is not installed the test is skipped with a word on how to
// install it; with SPILE_REQUIRE_SERVERS=1 it fails instead, so that a gate
// cannot pass on what it never ran. The package holds no knowledge of spile
// and asserts nothing.
package servertest
