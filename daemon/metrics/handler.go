package metrics

import (
	"fmt"
	"log/slog"
	"net/http"
	"strings"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Handler answers a scrape with all that the registry gathers. Where a part
// cannot be gathered the rest is still served; the error is logged and counted
// in promhttp_metric_handler_errors_total. Make one handler for a registry.
func Handler(reg *prometheus.Registry, log *slog.Logger) http.Handler {
	return promhttp.HandlerFor(reg, promhttp.HandlerOpts{
		ErrorLog:      errorLog{log},
		ErrorHandling: promhttp.ContinueOnError,
		Registry:      reg,
	})
}

// errorLog lets promhttp write to a slog.Logger.
type errorLog struct{ log *slog.Logger }

func (l errorLog) Println(v ...any) {
	l.log.Error("a scrape of the metrics was not complete", "err", strings.TrimSpace(fmt.Sprintln(v...)))
}
