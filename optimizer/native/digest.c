/* What the sources came to when this was compiled, so that a library of others is not used. */
const char *limbtrim_digest(void)
{
    return DIGEST;
}
