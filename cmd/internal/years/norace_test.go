//go:build !race

package years_test

// slower divides the counts of tests that write much.
const slower = 1
