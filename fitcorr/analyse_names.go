package fitcorr

import "asworn/capture"

const (
	blocked        = capture.Blocked
	fixtureSubject = capture.FixtureSubject
)

func earName(ear int) string { return capture.Ear(ear).String() }
