package pipeline

import (
	"asworn/capture"
	"asworn/capture/compare"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/respond"
)

// compareAll adds to every response what only a comparison with the others of the
// study shows. It returns the traits of all, those that are refused now marked so.
func compareAll(setup capture.Setup, rows []capture.Seating, responses []respond.Response) compared {
	out := compared{Traits: make([]compare.Traits, len(responses))}
	for i, r := range responses {
		out.Traits[i] = compare.TraitsOf(setup, r.Recording)
	}
	out.Found = compare.Seatings(rows, out.Traits)
	out.tell(responses)
	for i, r := range responses {
		out.Traits[i].Usable = r.Recording.Quality.Usable()
	}
	return out
}

// compare is compareAll, or what it was worth when it was done before with the
// same recordings and rows. The key names it.
func (l *line) compare(setup capture.Setup, rows []capture.Seating, responses []respond.Response) ([]compare.Traits, cache.Key, error) {
	key, err := cache.KeyOf("compared", l.responder.Setup, rows, keysOf(responses))
	if err != nil {
		return nil, key, err
	}
	var c compared
	if l.estimates.Get(key, &c) && len(c.Found) == len(responses) && len(c.Traits) == len(responses) {
		c.tell(responses)
		return c.Traits, key, nil
	}
	c = compareAll(setup, rows, responses)
	return c.Traits, key, l.estimates.Put(key, c)
}

func keysOf(responses []respond.Response) []cache.Key {
	out := make([]cache.Key, len(responses))
	for i, r := range responses {
		out[i] = r.Key
	}
	return out
}
