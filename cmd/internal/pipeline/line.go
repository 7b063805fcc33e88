package pipeline

import (
	"path/filepath"
	"sync"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/respond"
	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr/reading"
)

// Options are the choices of a run that do not change its results.
type Options struct {
	Jobs     int                   // workers; 0 means all cores
	Progress func(done, total int) // recordings; never called by two goroutines at once; may be nil
	Stage    func(name string)     // told when a stage begins that has no count; may be nil
	Waiting  func()                // told when another run of the study has to end first; may be nil
	Rehash   bool                  // read every file again, whatever its stamp says
	Partial  bool                  // leave out rows whose recording is not there yet
}

func (o Options) stage(name string) {
	if o.Stage != nil {
		o.Stage(name)
	}
}

// line is one run's access to what is kept.
type line struct {
	dir       string
	program   cache.Key
	responses cache.Store
	estimates cache.Store
	stamps    *cache.Stamps
	responder *respond.Responder
	opt       Options
}

func openLine(dir string, setup capture.Setup, opt Options) (*line, error) {
	l, err := openStores(dir, opt)
	if err != nil {
		return nil, err
	}
	return l, l.respondWith(setup)
}

// openStores opens what is kept; responses come with respondWith.
func openStores(dir string, opt Options) (*line, error) {
	meetTypes()
	l := &line{dir: dir, opt: opt}
	root := filepath.Join(resultdir.Root(dir), resultdir.CacheDir)
	var err error
	if l.program, err = cache.ProgramKey(); err != nil {
		return nil, err
	}
	if l.responses, err = cache.Open(filepath.Join(root, "responses")); err != nil {
		return nil, err
	}
	if l.estimates, err = cache.Open(filepath.Join(root, "estimates")); err != nil {
		return nil, err
	}
	l.stamps = cache.LoadStamps(filepath.Join(root, "stamps.gob"))
	if opt.Rehash {
		l.stamps.Doubt()
	}
	return l, nil
}

// respondWith says how recordings become responses.
func (l *line) respondWith(setup capture.Setup) error {
	key, err := cache.KeyOf(l.program, setup)
	if err != nil {
		return err
	}
	opt := l.opt
	l.responder = &respond.Responder{
		Dir: resultdir.StudyFolder(l.dir), Setup: key, Store: l.responses, Stamps: l.stamps, Jobs: opt.Jobs, Progress: opt.Progress,
		First: sync.OnceValues(func() (*capture.Processor, error) {
			p, err := capture.NewProcessor(setup)
			if err == nil && opt.Jobs > 0 {
				p.SetWorkers(opt.Jobs)
			}
			return p, err
		}),
	}
	return nil
}

// run is a run on its way: what its steps leave to those after them.
type run struct {
	*line
	inputs
	setup      capture.Setup
	recorded   []respond.Response // of each row
	traits     []compare.Traits   // of each row
	comparison cache.Key          // of all recordings
	readings   reading.Result
	counts     Counts
}
