/*
 * The extraction made anew, as the edited picture would be if nobody had painted on it: at its size, in its
 * sample type, through its colour space and back.
 */
#ifndef UF_PUTBACK_ANEW_H
#define UF_PUTBACK_ANEW_H

#include "putback/part.h"

/*
 * Fills `part` but for its weights. What is not known (whether another profile was assigned or converted to;
 * size and sampling of an address given by hand) is tried, and what leaves the least difference is taken. On
 * failure the part is empty.
 */
UfStatus uf_part_make(const UfPicture *panorama, const UfEdit *edit, int threads, UfPart *part,
                      UfReport *report);

#endif
