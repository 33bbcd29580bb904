/* Optimal string alignment distance, three rows of the table at a time. */
#include "cli/nearest.h"

#include "base/banned.h"

#define LONGEST 40

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

size_t cli_distance(const char *a, const char *b)
{
    size_t length_a = strlen(a);
    size_t length_b = strlen(b);
    if (length_a > LONGEST || length_b > LONGEST)
        return length_a + length_b;
    size_t rows[3][LONGEST + 1];
    for (size_t j = 0; j <= length_b; j++)
        rows[0][j] = j;
    for (size_t i = 1; i <= length_a; i++) {
        size_t *now = rows[i % 3];
        const size_t *before = rows[(i - 1) % 3];
        const size_t *two_before = rows[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= length_b; j++) {
            size_t change = before[j - 1] + (a[i - 1] != b[j - 1]);
            now[j] = least(change, least(before[j], now[j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                now[j] = least(now[j], two_before[j - 2] + 1);
        }
    }
    return rows[length_a % 3][length_b];
}

size_t cli_distance_limit(const char *name)
{
    size_t length = strlen(name);
    return length <= 3 ? 1 : length <= 6 ? 2 : 3;
}
