//go:build race

package years_test

// slower divides the counts of tests that write much: the race detector makes
// SQLite about twenty times slower.
const slower = 6
