package main

import (
	"bytes"
	"testing"
	"testing/synctest"
	"time"
)

// What is quick says nothing; what takes its time says so, beside the answer, until it
// is done.
func TestWorking_SaysThatItGoesOn(t *testing.T) {
	for took, want := range map[time.Duration]string{
		900 * time.Millisecond: "",
		5 * time.Second:        "it goes on … 1s\n",
		22 * time.Second:       "it goes on … 1s\nit goes on … 11s\nit goes on … 21s\n",
	} {
		synctest.Test(t, func(t *testing.T) {
			var out, complaints bytes.Buffer
			end := newConsole(&out, &complaints).working("it goes on")
			time.Sleep(took)
			end()
			time.Sleep(time.Minute)
			if complaints.String() != want || out.Len() > 0 {
				t.Errorf("after %v: %q and %q, want %q", took, out.String(), complaints.String(), want)
			}
		})
	}
}
