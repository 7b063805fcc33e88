//go:build unix

package main

import "testing"

// tooEarly is a session whose first take ends before its sound, which comes 1.25 s late,
// has arrived.
func tooEarly(t *testing.T, sweep ...string) *session {
	dir := benchStudy(t, sweep...)
	setUpBench(t, dir)
	b := newSimulatedBench()
	b.LatencyFrame = 60000
	s := startSession(t, b, "record", dir)
	s.wants("Row 1 of 2")
	s.types("\r")
	s.wants("AGAIN: rejected")
	return s
}

// Sound that takes longer on its way than a take waits is measured and waited for, by the
// next take or by a level check, and what makes it quicker is said.
func TestRecordWaitsForLateSound(t *testing.T) {
	t.Parallel()
	t.Run("take", func(t *testing.T) {
		t.Parallel()
		s := tooEarly(t, "--seconds", "1.2", "--gap", "1.5")
		s.wants("sound arrives 1.25 s after it is played, and this take waited 0.40 s: the next one waits for it")
		s.wants("a shorter buffer of the sound server, is quicker")
		s.wants("q quit")
		s.types("\r")
		s.wants("a new take is kept beside the first")
		s.types("\r")
		s.wants("KEEP: recorded")
		s.ends()
	})
	t.Run("level check", func(t *testing.T) {
		t.Parallel()
		s := tooEarly(t) // sweeps so short that the second may be what is heard
		s.wants("make the level check (l), which listens for 2 s")
		s.wants("q quit")
		s.types("ly")
		s.wants("1250.0 ms after the output")
		s.wants("takes wait 1.25 s for the sound")
		s.wants("q quit")
		s.types("\r")
		s.wants("KEEP: recorded")
		s.ends()
	})
}
