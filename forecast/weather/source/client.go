package source

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"github.com/go-resty/resty/v2"
	"github.com/gohugoio/httpcache"
	"github.com/sony/gobreaker/v2"
)

// Options says how services are asked. Zero values mean the usual.
type Options struct {
	Contact  string // the operator's e-mail or web address, sent in the User-Agent
	Version  string
	CacheDir string // where answers are kept as long as they stand; "" keeps them in memory

	Timeout             time.Duration // of one try, 10 s
	MaxBytes            int           // of one answer, 16 MiB
	Retries             int           // after the first try, 2; negative for none
	FirstWait, MaxWait  time.Duration // between tries, 1 s growing to 20 s, with jitter
	BreakerRest         time.Duration // how long a failing service is left alone, 5 min
	Transport           http.RoundTripper
	Budgets             Budgets          // shared bounds, this program's own where nil
	Bounds              map[string]Bound // by service; without one it may be asked freely
	Log                 *slog.Logger
	failuresBeforeBreak uint32
}

func (o *Options) fill() {
	fill(&o.Timeout, 10*time.Second)
	fill(&o.MaxBytes, 16<<20)
	fill(&o.Retries, 2)
	fill(&o.FirstWait, time.Second)
	fill(&o.MaxWait, 20*time.Second)
	fill(&o.BreakerRest, 5*time.Minute)
	fill(&o.failuresBeforeBreak, 3)
	if o.Budgets == nil {
		o.Budgets = &OwnBudgets{}
	}
	if o.Version == "" {
		o.Version = "dev"
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
}

func fill[T comparable](field *T, usual T) {
	var zero T
	if *field == zero {
		*field = usual
	}
}

// Reply is a service's answer with status 200 or 203, or one kept from before
// that still stands.
type Reply struct {
	Body       []byte
	Header     http.Header
	Status     int
	ReceivedAt time.Time
	FromCache  bool
}

// Client fetches from weather services with the manners they ask for: who is
// asking, nothing before the last answer expires, only what has changed,
// growing pauses after a failure, and no more tries for a while after several.
type Client struct {
	opt   Options
	resty *resty.Client
	cache httpcache.Cache

	mu       sync.Mutex
	breakers map[string]*gobreaker.CircuitBreaker[Reply]
}

// NewClient makes the client and its cache folder.
func NewClient(o Options) (*Client, error) {
	o.fill()
	var cache httpcache.Cache = &answersInMemory{}
	if o.CacheDir != "" {
		if err := writable(o.CacheDir); err != nil {
			return nil, fmt.Errorf("cache folder %s can't be written (%w); make it writable or set data_dir to one that is", o.CacheDir,
				err)
		}
		cache = answerFiles{o.CacheDir, o.Log}
	}
	transport := &httpcache.Transport{Cache: cache, MarkCachedResponses: true}
	network := o.Transport
	if network == nil {
		network = http.DefaultTransport
	}
	transport.Transport = honest{bounded{network, o.Budgets, &OwnBudgets{}, o.Bounds, o.Log.Warn}}
	agent := "thawline/" + o.Version
	if o.Contact != "" {
		agent += " (" + o.Contact + ")"
	}
	c := &Client{opt: o, cache: cache, breakers: map[string]*gobreaker.CircuitBreaker[Reply]{}}
	c.resty = resty.New().SetTransport(logged{transport, o.Log}).SetLogger(quiet{}).
		SetHeader("User-Agent", agent).SetHeader("Accept", "application/json, application/geo+json").
		SetRedirectPolicy(resty.RedirectPolicyFunc(ownHost)).
		SetTimeout(o.Timeout).SetResponseBodyLimit(o.MaxBytes).
		SetRetryCount(max(o.Retries, 0)).SetRetryWaitTime(o.FirstWait).SetRetryMaxWaitTime(o.MaxWait).
		SetRetryAfter(func(_ *resty.Client, r *resty.Response) (time.Duration, error) {
			return min(retryAfter(r.Header(), time.Now()), o.MaxWait), nil
		}).
		AddRetryCondition(func(r *resty.Response, err error) bool { return worthAnotherTry(r, err, o.MaxWait) }).
		AddRetryHook(func(r *resty.Response, _ error) { c.forget(r) })
	return c, nil
}

// errElsewhere is what a service's answer gives that leads to somebody else.
var errElsewhere = errors.New("it leads to another host")

const mostRedirects = 5

// ownHost follows an answer only to the service's own host and port, and never from https
// to http: a service, or whoever speaks for it, must not make this machine ask others,
// least of all those that only its own network reaches.
func ownHost(r *http.Request, via []*http.Request) error {
	from, to := via[0].URL, r.URL
	upgraded := from.Scheme == "http" && from.Port() == "" && to.Scheme == "https" && to.Port() == ""
	if len(via) > mostRedirects || from.Hostname() != to.Hostname() || from.Port() != to.Port() || from.Scheme != to.Scheme && !upgraded {
		return errElsewhere
	}
	return nil
}

func writable(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	probe := filepath.Join(dir, ".writable")
	if err := os.WriteFile(probe, nil, 0o600); err != nil {
		return err
	}
	return os.Remove(probe)
}

// quiet keeps resty's own log lines, which may hold keys, out of sight.
type quiet struct{}

func (quiet) Errorf(string, ...any) {}
func (quiet) Warnf(string, ...any)  {}
func (quiet) Debugf(string, ...any) {}

// Contact is whom the operator gave for services to write to.
func (c *Client) Contact() string { return c.opt.Contact }

// Get fetches one address; service names the breaker and the faults. Every
// error is a *Fault.
func (c *Client) Get(ctx context.Context, service, address string, query url.Values) (Reply, error) {
	return c.GetFor(ctx, service, 1, address, query)
}

// GetFor is Get for a question that counts as more, or less, than one against the
// service's budget of a day.
func (c *Client) GetFor(ctx context.Context, service string, cost float64, address string, query url.Values) (Reply, error) {
	ctx = asking(ctx, service, cost)
	reply, err := c.breaker(service).Execute(func() (Reply, error) { return c.get(ctx, service, address, query) })
	if errors.Is(err, gobreaker.ErrOpenState) || errors.Is(err, gobreaker.ErrTooManyRequests) {
		return Reply{}, &Fault{Service: service, Kind: Busy, Cause: err,
			Detail: "failed several times in a row and is left alone for " + c.opt.BreakerRest.String()}
	}
	return reply, err
}

// GetOnce is Get for a question that is never asked again, such as one for the past up
// to now, with what it counts for as GetFor has it: its answer is not kept, so that the
// cache does not grow all season.
func (c *Client) GetOnce(ctx context.Context, service string, cost float64, address string, query url.Values) (Reply, error) {
	return c.GetFor(context.WithValue(ctx, askedOnce{}, true), service, cost, address, query)
}

type askedOnce struct{}

func (c *Client) breaker(service string) *gobreaker.CircuitBreaker[Reply] {
	c.mu.Lock()
	defer c.mu.Unlock()
	b := c.breakers[service]
	if b == nil {
		b = gobreaker.NewCircuitBreaker[Reply](gobreaker.Settings{
			Name: service, Timeout: c.opt.BreakerRest,
			ReadyToTrip: func(n gobreaker.Counts) bool { return n.ConsecutiveFailures >= c.opt.failuresBeforeBreak },
			IsSuccessful: func(err error) bool { // a refusal is an answer: the service is well
				var f *Fault
				return err == nil || isSpent(err) || (errors.As(err, &f) && (f.Kind == Refused || f.Kind == Outdated))
			},
			IsExcluded: func(err error) bool { return errors.Is(err, context.Canceled) }, // says nothing of the service
		})
		c.breakers[service] = b
	}
	return b
}

func (c *Client) get(ctx context.Context, service, address string, query url.Values) (Reply, error) {
	question := c.resty.R().SetContext(ctx).SetQueryParamsFromValues(query)
	if ctx.Value(askedOnce{}) != nil {
		question.SetHeader("Cache-Control", "no-store")
	}
	r, err := question.Get(address)
	if err != nil {
		c.forget(r)
		return Reply{}, c.unreachable(ctx, service, r, err)
	}
	if f := faultOf(service, r); f != nil {
		c.forget(r)
		return Reply{}, f
	}
	kept := r.Header().Get(httpcache.XFromCache) != ""
	return Reply{Body: r.Body(), Header: r.Header(), Status: r.StatusCode(),
		ReceivedAt: receivedAt(r.Header(), kept), FromCache: kept}, nil
}

func (c *Client) unreachable(ctx context.Context, service string, r *resty.Response, err error) *Fault {
	cause := withoutAddress(err)
	f := &Fault{Service: service, Kind: Unreachable, Cause: cause, Remedy: "check the internet connection"}
	var spent errSpent
	switch {
	case errors.As(err, &spent):
		f.Kind, f.Detail, f.Remedy, f.Cause = Busy, spent.detail, spent.remedy, spent
	case r == nil: // nothing was sent
		f.Detail, f.Remedy = "its address can't be used ("+cause.Error()+")", "check its base_url"
	case errors.Is(err, errElsewhere):
		f.Kind, f.Detail, f.Remedy = Unreadable, "its answer leads to another host, which is not asked", "check its base_url"
	case errors.Is(err, context.Canceled):
		f.Detail, f.Remedy = "the question was called off", ""
	case errors.Is(err, resty.ErrResponseBodyTooLarge):
		f.Kind, f.Detail, f.Remedy = Unreadable, "an answer of more than "+strconv.Itoa(c.opt.MaxBytes)+" bytes", "check its base_url"
	case errors.Is(err, io.ErrUnexpectedEOF):
		f.Detail = "the answer broke off"
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		f.Detail = "no answer in the time there was"
	case timedOut(err):
		f.Detail = "no answer within " + c.opt.Timeout.String()
	default:
		f.Detail = "no connection (" + cause.Error() + ")"
	}
	return f
}
