/* The whole library. */
#ifndef UNDERFOOT_UNDERFOOT_H
#define UNDERFOOT_UNDERFOOT_H

#include <underfoot/api.h>
#include <underfoot/check.h>
#include <underfoot/deliver.h>
#include <underfoot/home.h>
#include <underfoot/level.h>
#include <underfoot/patch.h>
#include <underfoot/picture.h>
#include <underfoot/plan.h>
#include <underfoot/plate.h>
#include <underfoot/putback.h>
#include <underfoot/remap.h>
#include <underfoot/signals.h>
#include <underfoot/sphere.h>
#include <underfoot/status.h>
#include <underfoot/sun.h>
#include <underfoot/tour.h>
#include <underfoot/turn.h>
#include <underfoot/wrap.h>

#define UF_VERSION      "0.1.0"
#define UF_VERSION_DATE "2026-11-26"

#endif
