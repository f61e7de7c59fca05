package daemon

import (
	"context"
	"runtime"
	"sync"

	"thawline/forecast"
)

// lanes share out the processor's cores: who comes in the evening's lane goes first.
type lanes struct {
	mu      sync.Mutex
	free    int
	evening []chan struct{}
	others  []chan struct{}
}

// cores are what outlooks are worked out on.
var cores = &lanes{free: runtime.GOMAXPROCS(0)}

type laneKey struct{}

// ofEvening puts what is worked out under a context into the evening's lane.
func ofEvening(ctx context.Context) context.Context { return context.WithValue(ctx, laneKey{}, true) }

// enter waits for a core.
func (l *lanes) enter(evening bool) {
	l.mu.Lock()
	if l.free > 0 {
		l.free--
		l.mu.Unlock()
		return
	}
	turn := make(chan struct{})
	if evening {
		l.evening = append(l.evening, turn)
	} else {
		l.others = append(l.others, turn)
	}
	l.mu.Unlock()
	<-turn
}

// leave gives a core to the next, or back.
func (l *lanes) leave() {
	l.mu.Lock()
	defer l.mu.Unlock()
	queue := &l.evening
	if len(l.evening) == 0 {
		queue = &l.others
	}
	if len(*queue) == 0 {
		l.free++
		return
	}
	close((*queue)[0])
	*queue = (*queue)[1:]
}

// reckon makes an outlook on a core, which is given back whatever happens.
func reckon(ctx context.Context, in forecast.Inputs) (forecast.Outlook, error) {
	evening, _ := ctx.Value(laneKey{}).(bool)
	cores.enter(evening)
	defer cores.leave()
	return forecast.Make(in)
}
