# Sourced by deploy/install: every change to the machine goes through here, so that --dry-run can tell it instead.
# shellcheck shell=bash

fail() {
    say "deploy/install: $*"
    exit 2
}

# Say what is done, and do it unless this is a rehearsal.
change() {
    local what=$1
    shift
    if [[ $is_dry ]]; then
        say "would: $what"
        return 0
    fi
    say "$what"
    "$@"
}

# Write standard input to a file of that mode and owner; one that is so already stays as it is, with its time.
# What stood there is kept beside it, unless `quietly` says that somebody else tells of it.
put() {
    local path=$1 mode=$2 owner=$3 manner=${4:-} new
    new=$(mktemp)
    cat >"$new"
    if [[ -f $path ]] && cmp -s "$new" "$path"; then
        [[ $is_dry ]] || { chown "$owner" "$path"; chmod "$mode" "$path"; }
        rm -f "$new"
        return 0
    fi
    is_changed=yes
    if [[ $manner == quietly ]]; then
        :
    elif [[ -f $path ]]; then
        change "Writing $path anew; what stood there is kept as $path.before" cp -p "$path" "$path.before"
    else
        change "Writing $path" true
    fi
    if [[ ! $is_dry ]]; then
        # Beside its place first: a power cut leaves the old file or the new one.
        install -D -m "$mode" -o "${owner%:*}" -g "${owner#*:}" "$new" "$path.new"
        sync "$path.new"
        mv -f "$path.new" "$path"
    fi
    rm -f "$new"
}

# A folder of that mode and owner.
put_folder() {
    local path=$1 mode=$2 owner=$3
    if [[ -d $path && $(stat -c '%a %U:%G' "$path") == "$mode $owner" ]]; then
        return 0
    fi
    change "Making $path" install -d -m "$mode" -o "${owner%:*}" -g "${owner#*:}" "$path"
}

# Whether systemd runs here, not only whether it is installed.
has_systemd() { [[ -d /run/systemd/system ]]; }

machine_zone() {
    local zone=""
    [[ ! -L /etc/localtime ]] || zone=$(readlink /etc/localtime)
    [[ $zone == */zoneinfo/* ]] || zone=zoneinfo/UTC
    zone=${zone#*/zoneinfo/}
    printf '%s' "${zone#zoneinfo/}"
}

# The address at which others in the house reach this machine, as far as it knows.
machine_address() {
    local address=""
    read -r address _ <<<"$(hostname -I 2>/dev/null || true)" || true
    printf '%s' "${address:-$(hostname)}"
}
