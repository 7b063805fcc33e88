package pipeline

import (
	"context"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/capture/workers"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/respond"
)

// compareAll adds to every response what only a comparison with the others of the
// study shows. It returns the traits of all, those that are refused now marked so.
func compareAll(setup capture.Setup, rows []capture.Seating, responses []respond.Response, jobs int) compared {
	out := compared{Traits: make([]compare.Traits, len(responses))}
	microphones := compare.MicrophonesOf(setup)
	_ = workers.All(context.Background(), len(responses), jobs, func(i int) { // ends with its work alone
		out.Traits[i] = microphones.Traits(responses[i].Recording)
	})
	out.Found = compare.Seatings(rows, out.Traits, jobs)
	out.tell(responses)
	for i, r := range responses {
		out.Traits[i].Usable = r.Recording.Quality.Usable()
	}
	return out
}

// compare is compareAll, or what it was worth when it was done before with the
// same recordings and rows.
func (u *run) compare() (err error) {
	if u.comparison, err = cache.KeyOf("compared", u.responder.Setup, u.study.Seatings, keysOf(u.recorded)); err != nil {
		return err
	}
	var c compared
	if u.estimates.Get(u.comparison, &c) && len(c.Found) == len(u.recorded) && len(c.Traits) == len(u.recorded) {
		c.tell(u.recorded)
		u.traits = c.Traits
		return nil
	}
	c = compareAll(u.setup, u.study.Seatings, u.recorded, u.opt.Jobs)
	u.traits = c.Traits
	return u.estimates.Put(u.comparison, c)
}

func keysOf(responses []respond.Response) []cache.Key {
	out := make([]cache.Key, len(responses))
	for i, r := range responses {
		out[i] = r.Key
	}
	return out
}
