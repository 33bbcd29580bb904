/* The address inside the picture. */
#include "home/home.h"

#define PREFIX "underfoot"

UfStatus uf_home_set(UfPicture *picture, const UfHome *home, UfReport *report)
{
    UfStatus status = uf_home_check(home, report);
    if (status != UF_OK)
        return status;
    UfHomeText text = uf_home_to_text(home);
    return uf_picture_set_properties(picture, UF_HOME_NAMESPACE, PREFIX, text.fields, UF_HOME_FIELD_COUNT,
                                     report);
}

UfStatus uf_home_drop(UfPicture *picture, UfReport *report)
{
    UfHomeText text = uf_home_text_empty();
    UfStatus status =
        uf_picture_get_properties(picture, UF_HOME_NAMESPACE, text.fields, UF_HOME_FIELD_COUNT, report);
    bool any = false;
    for (size_t i = 0; i < UF_HOME_FIELD_COUNT; i++)
        any = any || text.fields[i].present;
    if (status == UF_OK && any)
        status = uf_picture_set_properties(picture, UF_HOME_NAMESPACE, PREFIX, NULL, 0, report);
    return status;
}

UfStatus uf_home_get(const UfPicture *picture, UfHome *out, bool *found, UfReport *report)
{
    UfHomeText text = uf_home_text_empty();
    UfStatus status =
        uf_picture_get_properties(picture, UF_HOME_NAMESPACE, text.fields, UF_HOME_FIELD_COUNT, report);
    if (status != UF_OK)
        return status;
    *found = text.fields[UF_HOME_KIND_FIELD].present;
    return *found ? uf_home_from_text(&text, "the picture's XMP", out, report) : UF_OK;
}
