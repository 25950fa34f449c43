# Sourced by deploy/install: packages, user, program, configuration and unit of the service, and how to remove them.
# shellcheck shell=bash

FOLDER=/opt/brinebell
PROGRAM=$FOLDER/program/bin/brinebell
COMMAND=/usr/local/bin/brinebell
CONFIGURATION=/etc/brinebell/brinebell.toml
SERVICE_PASSWORD=/etc/brinebell/mqtt.password
URLS=/etc/brinebell/keeper.urls
PAGE_PASSWORD=/etc/brinebell/page.password
DATA=/var/lib/brinebell
UNIT=/etc/systemd/system/brinebell.service
# Restarts ever farther apart are known to systemd from version 254 on.
BACKOFF=/etc/systemd/system/brinebell.service.d/backoff.conf
BACKOFF_SINCE=254
PORT=8460

install_machine_packages() {
    local wanted=(python3 python3-venv) missing=() package
    [[ $broker != here ]] || wanted+=(mosquitto openssl)
    for package in "${wanted[@]}"; do
        [[ $(dpkg-query -W -f '${Status}' "$package" 2>/dev/null) == "install ok installed" ]] || missing+=("$package")
    done
    ((${#missing[@]})) || return 0
    change "Installing ${missing[*]}" apt_install "${missing[@]}"
}

apt_install() {
    apt-get update -q >&2 || true
    DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends "$@" >&2 ||
        fail "apt-get could not install $*: is the network there? Run this script again then"
}

make_user() {
    if ! getent passwd brinebell >/dev/null; then
        change "Making the system user brinebell" useradd --system --user-group --home-dir "$DATA" --no-create-home \
            --shell /usr/sbin/nologin brinebell
    fi
    put_folder "$DATA" 750 brinebell:brinebell
    put_folder /etc/brinebell 750 root:brinebell
}

# What the program is made of: the same digest needs no new one.
program_digest() {
    {
        python3 --version
        find collector rules replay_data pyproject.toml deploy/constraints.txt -type f ! -name '*.pyc' -print0 |
            sort -z | xargs -0 sha256sum
    } | sha256sum | cut -c 1-12
}

# Each version has a folder of its own, and a link says which one is in use: an installation that is cut off, by
# whatever, leaves the one before as it was.
install_program() {
    local digest old
    # On a bare machine the python3 that answers this is not there yet.
    digest=$(command -v python3 >/dev/null && program_digest) || digest=new
    if [[ $(readlink "$FOLDER/program" 2>/dev/null) == "program-$digest" ]]; then
        say "The program is as this clone has it ($digest)."
    else
        is_changed=yes
        change "Installing the program into $FOLDER/program-$digest: a minute, several on a Raspberry Pi" make_program "$digest"
        for old in "$FOLDER"/program-*; do
            if [[ -d $old && $old != "$FOLDER/program-$digest" ]]; then
                change "Removing the program before it, $old" rm -rf "$old"
            fi
        done
    fi
    put "$COMMAND" 755 root:root <deploy/installing/brinebell
}

make_program() {
    local made=$FOLDER/program-$1
    rm -rf "$made"
    python3 -m venv "$made"
    "$made/bin/python" -m pip install --quiet --disable-pip-version-check --no-cache-dir --prefer-binary \
        --constraint deploy/constraints.txt . ||
        fail "the program could not be installed; what was installed before is as it was"
    "$made/bin/brinebell" version >/dev/null
    install -m 644 README.md LICENSE "$FOLDER"
    sync
    ln -sfn "program-$1" "$FOLDER/program.new"
    mv -T "$FOLDER/program.new" "$FOLDER/program"
}

# The first time from the example or from --config; later only keys that an option names are changed.
write_configuration() {
    local made text=()
    made=$(mktemp)
    if [[ -f $CONFIGURATION ]]; then
        cat "$CONFIGURATION" >"$made"
    elif [[ $start_from ]]; then
        cat "$(given "$start_from")" >"$made"
    else
        cat collector/data/brinebell.example.toml >"$made"
    fi
    if [[ ! -f $CONFIGURATION ]]; then
        text+=(service.folder "$DATA")
        if [[ $broker == here ]]; then
            text+=(mqtt.host 127.0.0.1 mqtt.username brinebell mqtt.password_file mqtt.password)
        fi
    fi
    if [[ $broker && $broker != here ]]; then
        text+=(mqtt.host "$broker")
    fi
    if [[ $urls_file ]]; then
        put "$URLS" 600 brinebell:brinebell quietly <"$(given "$urls_file")"
        text+=(people.keeper.urls_file keeper.urls)
    fi
    if [[ $page == network ]]; then
        open_page
    elif [[ $page == machine && -f $CONFIGURATION ]]; then
        text+=(page.listen "127.0.0.1:$PORT")
    fi
    if [[ $public_url && $page != network ]]; then
        text+=(page.public_url "$public_url")
    fi
    if command -v python3 >/dev/null; then
        ((${#text[@]} == 0)) || python3 deploy/installing/set_keys.py "$made" "${text[@]}" >&2 || exit 2
        [[ ! $time_zone ]] || python3 deploy/installing/set_keys.py "$made" --zone "$time_zone" >&2 || exit 2
    fi
    put "$CONFIGURATION" 640 root:brinebell <"$made"
    rm -f "$made"
}

# A file that was named where the script was called.
given() {
    if [[ $1 != /* && -r $caller_folder/$1 ]]; then printf '%s' "$caller_folder/$1"; else printf '%s' "$1"; fi
}

# Let the home network in: address, password and what messages tell are set together, or none of them. A version
# without `brinebell password` has no log-in, and opens its page to nobody else.
has_log_in() { [[ -f collector/commands/password.py ]]; }

open_page() {
    if ! has_log_in; then
        page_note="It stays on this machine: this version has no log-in, and without one it opens to nobody else."
        return 0
    fi
    if [[ $page_password_file ]]; then
        change "Setting the password of the page" set_page_password <"$(given "$page_password_file")"
    elif [[ ! -f $PAGE_PASSWORD ]]; then
        change "Setting the password of the page" set_page_password
    fi
    text+=(page.listen "0.0.0.0:$PORT" page.password_file "${PAGE_PASSWORD##*/}")
    text+=(page.public_url "${public_url:-http://$(page_host):$PORT}")
}

set_page_password() {
    "$PROGRAM" password "$PAGE_PASSWORD" >/dev/null || fail "the page's password was not set; what was before is as it was"
    chown brinebell:brinebell "$PAGE_PASSWORD"
}

# A name is better than an address, which a router may give to another: where this machine answers to its name.
page_host() {
    if [[ $(dpkg-query -W -f '${Status}' avahi-daemon 2>/dev/null) == "install ok installed" ]]; then
        printf '%s.local' "$(hostname)"
    else
        machine_address
    fi
}

tell_page() {
    local url
    url=$(sed -n 's/^public_url = "\(.*\)"/\1/p' "$CONFIGURATION" 2>/dev/null || true)
    if [[ $url ]] && ! grep -q '^listen = "127' "$CONFIGURATION"; then
        say "The page: $url/ in your network, with the password. Never open its port to the internet."
    else
        say "The page: http://127.0.0.1:$PORT/ on this machine; from another one:"
        say "    ssh -L $PORT:127.0.0.1:$PORT YOU@$(machine_address)      then the same address there"
    fi
    [[ ! ${page_note:-} ]] || say "$page_note"
}

install_unit() {
    local version
    put "$UNIT" 644 root:root <deploy/systemd/brinebell.service
    version=$(systemctl --version 2>/dev/null | sed -n '1s/^systemd \([0-9]*\).*/\1/p')
    if ((${version:-0} >= BACKOFF_SINCE)); then
        put "$BACKOFF" 644 root:root <deploy/systemd/backoff.conf
    fi
}

start_service() {
    if ! has_systemd; then
        say "systemd does not run here: the unit lies at $UNIT and the service was not started."
        if command -v systemctl >/dev/null; then
            change "Letting it start at the next boot" systemctl --quiet enable brinebell
        fi
        return 0
    fi
    change "Reading units anew" systemctl daemon-reload
    change "Letting the service start with the machine" systemctl --quiet enable brinebell
    if [[ ! $is_changed ]] && systemctl is-active --quiet brinebell; then
        say "The service runs, and nothing is new for it."
        return 0
    fi
    if change "Starting the service" systemctl restart brinebell; then
        return 0
    fi
    say "The service does not start. What it says:"
    journalctl -u brinebell -n 15 --no-pager -o cat >&2 || true
    fail "mend what it says, in $CONFIGURATION if it names a key, and run this again"
}

test_ring() {
    say ""
    change "Looking whether all is well, with a test ring" "$COMMAND" check --config "$CONFIGURATION" --ring ||
        say "The lines above say what is wrong, and how to mend it."
}

uninstall() {
    if has_systemd && [[ -f $UNIT ]]; then
        change "Stopping the service" systemctl --quiet disable --now brinebell
    fi
    local path
    for path in "$UNIT" "$BACKOFF" /etc/systemd/system/multi-user.target.wants/brinebell.service "$COMMAND" "$FOLDER"; do
        if [[ -e $path || -L $path ]]; then
            change "Removing $path" rm -rf "$path"
        fi
    done
    # One that holds a change of your own stays.
    [[ $is_dry || ! -d ${BACKOFF%/*} ]] || rmdir --ignore-fail-on-non-empty "${BACKOFF%/*}"
    ! has_systemd || change "Reading units anew" systemctl daemon-reload
    say ""
    say "Kept: readings in $DATA, configuration in /etc/brinebell, the user brinebell, and the broker with its accounts"
    say "($BROKER_CONFIGURATION, $USERS, $RIGHTS)."
    say "deploy/install brings the service back to them. To part with them for good: remove these files and folders, then"
    say "    sudo userdel brinebell && sudo apt remove mosquitto"
}
