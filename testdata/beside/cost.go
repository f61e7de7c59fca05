package beside

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// CPUSeconds is what this process has used of processors, user and system.
func CPUSeconds() float64 {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano()).Seconds()
}

// DatabaseSeconds is what the server's processes of an application have used since they
// began, 0 where it is a file or runs elsewhere. The application_name stands in the
// address by which the database was opened.
func DatabaseSeconds(ctx context.Context, db *sql.DB, application string) (sum float64) {
	rows, err := db.QueryContext(ctx, `SELECT pid FROM pg_stat_activity WHERE application_name = ?1`, application)
	if err != nil {
		return 0
	}
	defer rows.Close()
	for rows.Next() {
		var pid int64
		if rows.Scan(&pid) != nil {
			continue
		}
		stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			continue
		}
		fields := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
		for _, f := range fields[11:13] {
			ticks, _ := strconv.ParseFloat(f, 64)
			sum += ticks / 100
		}
	}
	if rows.Err() != nil {
		return 0
	}
	return sum
}
