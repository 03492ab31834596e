package store_test

import (
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"boundwalk/store"
)

func letter(key string) store.Letter {
	return store.Letter{Kind: "digest", Key: key, Message: "<" + key + "@example.net>", Target: "owner@example.net", Body: []byte("body of " + key)}
}

// A key is promised once for ever, whoever asks at the same time.
func TestSpoolOnceForEachKey(t *testing.T) {
	l := open(t)
	var fresh, weeks atomic.Int32
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			ok, err := l.Enqueue(t.Context(), letter("urgent/1"), noon)
			if err != nil {
				t.Error(err)
			}
			if ok {
				fresh.Add(1)
			}
			ok, err = l.EnqueueDigest(t.Context(), "2026-W48", []store.Letter{letter("2026-W48/owner"), letter("2026-W48/short")}, noon)
			if err != nil {
				t.Error(err)
			}
			if ok {
				weeks.Add(1)
			}
		})
	}
	wg.Wait()
	if fresh.Load() != 1 || weeks.Load() != 1 {
		t.Errorf("fresh %d times, the week %d times; want once", fresh.Load(), weeks.Load())
	}
	due, err := l.Due(t.Context(), noon)
	if err != nil || len(due) != 3 {
		t.Fatalf("due: %+v, %v", due, err)
	}
	if err := l.Sent(t.Context(), due[0].ID, "250 accepted", noon.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if ok, _ := l.Enqueue(t.Context(), letter("urgent/1"), noon); ok && due[0].Key == "urgent/1" {
		t.Error("a letter that was sent was promised again")
	}
	if ok, _ := l.EnqueueDigest(t.Context(), "2026-W48", nil, noon); ok {
		t.Error("the week had a second digest")
	}
	if week, at, err := l.LastDigest(t.Context()); week != "2026-W48" || !at.Equal(noon) || err != nil {
		t.Errorf("last digest: %q, %v, %v", week, at, err)
	}
}

// A letter's life: due, deferred, due again, sent or given up; a letter that
// has ended never changes again.
func TestSpoolStates(t *testing.T) {
	l := open(t)
	ctx := t.Context()
	for i, key := range []string{"a", "b", "c"} {
		if _, err := l.Enqueue(ctx, letter(key), noon.Add(time.Duration(i)*time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	if due, _ := l.Due(ctx, noon.Add(time.Minute)); len(due) != 2 || due[0].Key != "a" || string(due[0].Body) != "body of a" || due[0].Message != "<a@example.net>" {
		t.Fatalf("due: %+v", due)
	}
	later := noon.Add(time.Hour)
	if err := l.Deferred(ctx, 1, "451 later", later); err != nil {
		t.Fatal(err)
	}
	if due, _ := l.Due(ctx, noon.Add(10*time.Minute)); len(due) != 2 || due[0].Key != "b" {
		t.Errorf("due while a waits: %+v", due)
	}
	if due, _ := l.Due(ctx, later); len(due) != 3 || due[0].Attempts != 1 || due[0].Words != "451 later" || !due[0].Next.Equal(later) {
		t.Errorf("due when a's time has come: %+v", due)
	}
	if err := l.Sent(ctx, 1, "250 accepted", later); err != nil {
		t.Fatal(err)
	}
	if err := l.GivenUp(ctx, 2, "failed", "550 no", later); err != nil {
		t.Fatal(err)
	}
	if err := l.GivenUp(ctx, 3, "lost", "", later); err == nil {
		t.Error("a state that does not exist was taken")
	}
	// None of these may touch what has ended.
	for _, err := range []error{l.Deferred(ctx, 1, "x", later), l.GivenUp(ctx, 1, "dropped", "x", later), l.Sent(ctx, 2, "x", later)} {
		if err != nil {
			t.Error(err)
		}
	}
	all, err := l.Letters(ctx, 9)
	if err != nil || len(all) != 3 || all[2].State != "sent" || all[2].Attempts != 2 || all[2].Words != "250 accepted" || len(all[2].Body) != 0 ||
		!all[2].Ended.Equal(later) || all[1].State != "failed" || all[1].Words != "550 no" {
		t.Errorf("all: %+v, %v", all, err)
	}
	if wait, _ := l.Waiting(ctx); len(wait) != 1 || wait[0].Key != "c" {
		t.Errorf("waiting: %+v", wait)
	}
}
