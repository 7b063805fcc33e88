package main

import (
	"bytes"
	"encoding/gob"
	"sync"

	"asworn/cmd/internal/cache"
)

// notes keep what parts of analyses came to, so that a study that is analysed again is
// estimated anew only where it differs (fitcorr.Memory). Start from newNotes.
type notes struct {
	mu   sync.Mutex
	kept map[cache.Key][]byte // as gob
}

func newNotes() *notes { return &notes{kept: map[cache.Key][]byte{}} }

// Recall implements fitcorr.Memory.
func (n *notes) Recall(name string, of []any, to any) (keep func(value any), found bool) {
	key, err := cache.KeyOf(append([]any{name}, of...)...)
	if err != nil {
		return func(any) {}, false // estimated anew each time
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if value, ok := n.kept[key]; ok {
		return nil, gob.NewDecoder(bytes.NewReader(value)).Decode(to) == nil
	}
	return func(value any) {
		var b bytes.Buffer
		if gob.NewEncoder(&b).Encode(value) == nil {
			n.mu.Lock()
			defer n.mu.Unlock()
			n.kept[key] = b.Bytes()
		}
	}, false
}
