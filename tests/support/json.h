/* JSON read by a parser that is not ours: Perl's JSON::PP, which comes with ExifTool. */
#ifndef UF_TESTS_SUPPORT_JSON_H
#define UF_TESTS_SUPPORT_JSON_H

/*
 * The value at a path such as "0.holes.1.kind", as text: "1" and "0" for true and false, "null", "[3]" for an
 * array of three, "{}" for an object, "(none)" where there is nothing. Free it. Fails the test when `text` is
 * no JSON.
 */
char *json_at(const char *text, const char *path);
double json_number_at(const char *text, const char *path);

#endif
