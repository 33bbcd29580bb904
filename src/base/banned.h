/* Calls that have no bound, or hide failure: using one is a compile error. Included by every header of base. */
#ifndef UF_BASE_BANNED_H
#define UF_BASE_BANNED_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define UF_BANNED(name) uf_banned_##name##_see_src_base_banned_h
#undef strcpy
#define strcpy UF_BANNED(strcpy)
#undef strcat
#define strcat UF_BANNED(strcat)
#undef strncpy
#define strncpy UF_BANNED(strncpy)
#undef sprintf
#define sprintf UF_BANNED(sprintf)
#undef vsprintf
#define vsprintf UF_BANNED(vsprintf)
#undef strtok
#define strtok UF_BANNED(strtok)
#undef gets
#define gets UF_BANNED(gets)
#undef atoi
#define atoi UF_BANNED(atoi)
#undef atof
#define atof UF_BANNED(atof)

#endif
