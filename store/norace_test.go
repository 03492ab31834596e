//go:build !race

package store_test

// slower divides the counts of tests that write much.
const slower = 1
