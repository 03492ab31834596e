//go:build race

package daemon

// tenYears are the weeks of TestTenYears: two years under the race detector,
// which makes SQLite about twenty times slower.
const tenYears = 104
