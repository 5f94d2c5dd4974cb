package worker

import (
	"fmt"
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// lower is how far a worker steps back behind everything else that wants a processor.
const lower = 10

// stepBack gives the process with an id, which leads a session of its own, a lower priority than the service, and
// makes it the one that the kernel ends when memory is short. Where that is not allowed, the job is done all the
// same.
//
// The service does this for the process, which otherwise would start with the service's priority. And the process
// has a session of its own since the kernel may give each session its share of the processors
// (kernel.sched_autogroup_enabled, proc(5)): the priority of a process then counts within its session alone. What brings
// the bytes of a serial port to the service is a thread of the kernel, and so in none; beside a worker in the
// service's session it waited as if the worker had the priority of the service.
func stepBack(pid int) {
	_ = unix.Setpriority(unix.PRIO_PGRP, pid, lower) // all threads that the process has made by now, and so those to come
	of := fmt.Sprintf("/proc/%d/", pid)
	// From a service without privileges the kernel takes this ten times a second; of jobs that follow each other
	// faster, some keep the session's full share.
	_ = os.WriteFile(of+"autogroup", []byte(strconv.Itoa(lower)), 0)
	_ = os.WriteFile(of+"oom_score_adj", []byte("1000"), 0)
}
