package pipeline

import (
	"sync"

	"asworn/cmd/internal/cache"
)

// parts keeps what an analysis is put together from among the estimates
// (fitcorr.Memory).
type parts struct {
	line *line
	mu   sync.Mutex
	keys []cache.Key
}

// Recall implements fitcorr.Memory.
func (p *parts) Recall(name string, of []any, to any) (keep func(value any), found bool) {
	key, err := cache.KeyOf(append([]any{"part", p.line.program, name}, of...)...)
	if err != nil {
		return func(any) {}, false // estimated anew each time
	}
	p.mu.Lock()
	p.keys = append(p.keys, key)
	p.mu.Unlock()
	// A disk that takes no more is told of by what is written after it.
	return func(value any) { _ = p.line.estimates.Put(key, value) }, p.line.estimates.Get(key, to)
}

// used are the keys of all that was asked for.
func (p *parts) used() []cache.Key {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.keys
}
