package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"boundwalk/store"
)

// Whoever runs it by a timer has no daemon that keeps the logbook small: the
// run does.
func TestRunThins(t *testing.T) {
	dir := t.TempDir()
	plan := "site: {name: Tern Quay}\nnetworks: {yard: {subnet: 127.0.0.0/29}}\ndevices: {yard-phone: {role: phone}}\n"
	if err := os.WriteFile(filepath.Join(dir, "plan.yaml"), []byte(plan), 0o600); err != nil {
		t.Fatal(err)
	}
	book, err := store.Open(t.Context(), filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	now := time.Now()
	if err := book.Hush(t.Context(), store.Hush{Key: "*", Since: now.AddDate(0, -3, 0), Until: now.AddDate(0, -2, 0), Why: "work on the quay"}); err != nil {
		t.Fatal(err)
	}
	do(t, []int{exitDone}, "run", "--plan", filepath.Join(dir, "plan.yaml"))
	if left, err := book.Hushes(t.Context(), now.AddDate(0, -3, 0)); err != nil || len(left) > 0 {
		t.Errorf("two months after its end the logbook still has %+v, %v", left, err)
	}
}
