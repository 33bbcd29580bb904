/* The planner, timed. */
#ifndef UF_BENCH_PLAN_H
#define UF_BENCH_PLAN_H

/* `folder` takes the rig file. */
void bench_plan(const char *folder);

#endif
