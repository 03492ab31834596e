//go:build !race

package daemon

// tenYears are the weeks of TestTenYears.
const tenYears = 522
